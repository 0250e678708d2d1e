"""The Spanish wording of the letters that the house comes with.

It says what the English one says; see there for what it is made after.
"""

from campaigns.rules.letter_frame import Frame, Wording
from campaigns.rules.lifecycle import CampaignClass, RoundKind


_SAFETY, _EMISSIONS = CampaignClass.SAFETY, CampaignClass.EMISSIONS
_SATISFACTION, _SERVICE = CampaignClass.SATISFACTION, CampaignClass.SERVICE_ACTION
_FIRST, _REMINDER = RoundKind.FIRST, RoundKind.REMINDER
_INTERIM, _SECOND = RoundKind.INTERIM, RoundKind.SECOND

FRAME = Frame(
    date="Fecha",
    campaign="Nuestra campaña",
    maker_number="Número del fabricante",
    regulator_number="Número del regulador",
    vehicle="Vehículo",
    vin="VIN",
    not_known="no consta",
    dear="Estimado/a {name}:",
    yours="Atentamente",
    quote="Carta {code}. Dé este número cuando llame.",
    slip="Si es así, marque una casilla y envíenos esta parte:",
    answers=(
        "He vendido el vehículo",
        "El vehículo fue desguazado",
        "Salió del país",
        "Fue robado",
        "El trabajo se hizo en otro lugar",
        "Tengo otra dirección",
        "No me envíen más cartas",
    ),
    room="Nuevo dueño o nueva dirección, y desde cuándo:",
)

_HOW = (
    "Para fijar un día, llame a {store_name}, teléfono {store_phone}, y diga campaña"
    " {campaign_number}. Traiga esta carta."
)
_TAKE_IN = (
    "Llame a {store_name}, teléfono {store_phone}, o a cualquier taller autorizado de"
    " {maker} para fijar un día."
)

WORDING = Wording(
    subjects={
        (_SAFETY, _FIRST): "Llamado por seguridad de su vehículo: la reparación es"
        " gratuita",
        (_SAFETY, _REMINDER): "Llamado por seguridad: su vehículo aún no está reparado",
        (_SAFETY, _INTERIM): "Llamado por seguridad de su vehículo: las piezas están en"
        " camino",
        (_SAFETY, _SECOND): "Llamado por seguridad: las piezas de su vehículo ya están"
        " aquí",
        (_EMISSIONS, _FIRST): "Llamado por emisiones de su vehículo: la reparación es"
        " gratuita",
        (_EMISSIONS, _REMINDER): "Llamado por emisiones: la reparación gratuita de su"
        " vehículo sigue pendiente",
        (_EMISSIONS, _INTERIM): "Llamado por emisiones de su vehículo: las piezas están"
        " en camino",
        (_EMISSIONS, _SECOND): "Llamado por emisiones: las piezas de su vehículo ya"
        " están aquí",
        (_SATISFACTION, _FIRST): "Trabajo gratuito en su vehículo, a cargo del"
        " fabricante",
        (_SATISFACTION, _REMINDER): "El trabajo gratuito en su vehículo sigue"
        " pendiente",
        (_SATISFACTION, _INTERIM): "Trabajo gratuito en su vehículo: las piezas están"
        " en camino",
        (_SATISFACTION, _SECOND): "Trabajo gratuito en su vehículo: las piezas ya están"
        " aquí",
        (_SERVICE, _FIRST): "Acción de servicio para su vehículo: sin costo",
        (_SERVICE, _REMINDER): "La acción de servicio de su vehículo sigue pendiente",
        (_SERVICE, _INTERIM): "Acción de servicio de su vehículo: las piezas están en"
        " camino",
        (_SERVICE, _SECOND): "Acción de servicio de su vehículo: las piezas ya están"
        " aquí",
    },
    found={
        _SAFETY: "{maker} ha emitido un llamado por seguridad para ciertos vehículos, y"
        " el suyo es uno de ellos: {vehicle}. El llamado {maker_number} trata de:"
        " {campaign_title}.",
        _EMISSIONS: "{maker} ha determinado que ciertos vehículos pueden contaminar más"
        " de lo que permite la ley, y el suyo es uno de ellos: {vehicle}. El llamado"
        " por emisiones {maker_number} trata de: {campaign_title}.",
        _SATISFACTION: "{maker} desea mejorar ciertos vehículos a su propio costo, y el"
        " suyo es uno de ellos: {vehicle}. La campaña {maker_number} trata de:"
        " {campaign_title}.",
        _SERVICE: "{maker} nos ha pedido un trabajo en ciertos vehículos, y el suyo es"
        " uno de ellos: {vehicle}. La acción de servicio {maker_number} trata de:"
        " {campaign_title}.",
    },
    waiting={
        _FIRST: "Las piezas están aquí. " + _HOW,
        _REMINDER: "Ya le escribimos antes y, según nuestros registros, el trabajo no"
        " se ha hecho. Las piezas están aquí. Si se hizo en otro lugar, llámenos para"
        " corregir nuestros registros. " + _HOW,
        _INTERIM: "Las piezas todavía no están aquí. Llame a {store_name}, teléfono"
        " {store_phone}, diga campaña {campaign_number}, y lo anotaremos en la lista y"
        " le llamaremos cuando lleguen. También le escribiremos de nuevo.",
        _SECOND: "Le escribimos que las piezas aún no habían llegado. Ya están aquí. "
        + _HOW,
    },
    soon="Haga la reparación lo antes posible. ",
    paid="{maker} paga las piezas y el trabajo. Usted no paga nada, haya comprado o no"
    " el vehículo con nosotros.",
    report="Si el trabajo no se hace sin costo y en un plazo razonable, puede"
    " comunicarlo a la Administración Nacional de Seguridad del Tráfico en las"
    " Carreteras (NHTSA) de los Estados Unidos.",
    look_up="Para ver lo que está pendiente en su vehículo, escriba su VIN, que figura"
    " arriba, en la consulta por VIN del regulador federal o en la de {maker}. Si ya no"
    " tiene este vehículo, díganoslo para que escribamos a la persona correcta.",
    ours="Esta carta es de {store_name}, el taller que atiende su vehículo. No es el"
    " aviso de {maker}; ese aviso llega, o ya llegó, de {maker} mismo.",
    notice_subjects={
        _SAFETY: "IMPORTANTE LLAMADO POR SEGURIDAD. Este aviso se refiere a su"
        " vehículo, {vin}",
        _EMISSIONS: "Aviso de llamado por emisiones para su vehículo, {vin}",
        _SATISFACTION: "Trabajo gratuito en su vehículo, {vin}",
        _SERVICE: "Acción de servicio para su vehículo, {vin}",
    },
    notice_opening={
        _SAFETY: "Este aviso se le envía de conformidad con la Ley Nacional de Tráfico"
        " y Seguridad de los Vehículos Motorizados.",
        _EMISSIONS: "Este aviso se le envía de conformidad con las normas de emisiones"
        " de los Estados Unidos.",
        _SATISFACTION: "{maker} desea que esté contento con su vehículo.",
        _SERVICE: "{maker} pide a sus talleres un trabajo en su vehículo.",
    },
    notice_found={
        _SAFETY: "{maker} ha decidido que existe un defecto relacionado con la"
        " seguridad del vehículo en ciertos vehículos, entre ellos el suyo: {vehicle}."
        " El llamado {maker_number} trata de: {campaign_title}. {bulletin}",
        _EMISSIONS: "{maker} ha determinado que ciertos vehículos, entre ellos el suyo,"
        " {vehicle}, pueden contaminar más de lo que permiten las normas federales. El"
        " llamado {maker_number} trata de: {campaign_title}. {bulletin}",
        _SATISFACTION: "La campaña {maker_number} se refiere a su vehículo, {vehicle}:"
        " {campaign_title}. {bulletin}",
        _SERVICE: "La acción de servicio {maker_number} se refiere a su vehículo,"
        " {vehicle}: {campaign_title}. {bulletin}",
    },
    notice_remedy={
        _FIRST: "{maker} lo hará corregir sin costo para usted por piezas y trabajo."
        " Hay piezas a partir del {parts_from}. " + _TAKE_IN,
        _REMINDER: "Según nuestros registros, esto aún no se ha corregido en su"
        " vehículo. {maker} lo hará corregir sin costo para usted por piezas y trabajo."
        " Hay piezas a partir del {parts_from}. " + _TAKE_IN,
        _INTERIM: "La solución todavía no está disponible. {maker} lo hará corregir sin"
        " costo para usted por piezas y trabajo, y le escribirá una segunda vez cuando"
        " lo esté. " + _TAKE_IN,
        _SECOND: "Le escribimos que la solución aún no estaba disponible. Ya lo está."
        " {maker} lo hará corregir sin costo para usted por piezas y trabajo. Hay"
        " piezas a partir del {parts_from}. " + _TAKE_IN,
    },
    notice_complaint="Si el taller no lo hace sin costo, o dentro de los 60 días desde"
    " que usted llevó el vehículo por primera vez, puede presentar una queja ante el"
    " Administrador, National Highway Traffic Safety Administration, 1200 New Jersey"
    " Avenue SE, Washington, DC 20590; o llamar gratis a la línea de seguridad de los"
    " vehículos, 1-888-327-4236 (TTY 1-800-424-9153); o visitar www.nhtsa.gov.",
    notice_paid_before="Si ya pagó esta reparación, se le puede devolver el dinero:"
    " llame a {store_name}, teléfono {store_phone}.",
    notice_lessor="Si ha dado este vehículo en arrendamiento, la ley federal le pide"
    " que reenvíe este aviso al arrendatario dentro de diez días.",
    notice_time="El taller puede decirle cuánto tiempo lleva el trabajo.",
    notice_proof="Pida al taller un comprobante del trabajo y guárdelo: su estado"
    " puede pedirlo en una inspección o al matricular el vehículo.",
    notice_ended="Si ya no tiene este vehículo, envíe la parte de abajo a"
    " {store_name}.",
)
