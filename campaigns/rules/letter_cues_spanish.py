"""How Spanish letters say what the letter check looks for (accents are folded away)."""

from campaigns.rules.letter_cues import Cue, cues


_FAULT = "(defecto*|falla*|fallo*|problema*|desperfecto*|averia*|anomalia*|condicion*)"
_HARM = (
    "(accidente*|choque*|lesion*|incidente*|colision*|muerte*|herid*|incendio*|queja*)"
)
_DANGER = "(peligro*|riesgo*|amenaza*)"
_MAY = "(puede*|pueda*|podria*|pudiera*|pudiese*)"

CUES: dict[str, tuple[Cue, ...]] = {
    "may_exist": cues(
        f"{_MAY} ~ (existir|haber|hallarse|encontrarse) ~3 {_FAULT}",
        f"{_FAULT} ~3 {_MAY} ~ (existir|estar presente|hallarse|encontrarse)",
        f"{_MAY} ~ (tener|presentar|contener|sufrir|mostrar) ~2 {_FAULT}",
        f"(posible*|potencial*|presunt*|supuest*|eventual*|aparente*) {_FAULT}",
        f"{_FAULT} ~1 (posible*|potencial*|presunt*|supuest*|eventual*|aparente*)",
        f"{_MAY} ~1 (estar|verse|ser|resultar|quedar) ~1 (afectad*|defectuos*"
        f"|implicad*|involucrad*)",
        f"(quizas|tal vez|acaso|posiblemente|a lo mejor) ~4 (defectuos*"
        f"|{_FAULT[1:-1]})",
        f"(sospech*|creemos|cree|pens*|supon*) ~5 {_MAY} ~2 {_FAULT}",
        f"si (existe|hay|existiera|hubiera) ~2 {_FAULT}",
    ),
    "may_exist_but": cues(
        "no ~1 (todos|todo|cada|todas) ~4 (vehiculo*|auto*|coche*|unidad*|ellos)",
        "(algunos|ciertos) ~4 no",
    ),
    "no_accidents": cues(
        f"(ningun|ninguna|sin|cero) (conocid*|reportad*|tales)? {_HARM}",
        f"NOT ~2 (hay|habido|hubo|existen|existe|tenemos|tiene|conoce*|sabe*|consta*"
        f"|informado|reportado|registrado|recibido|ocurrido|producido) ~4 {_HARM}",
        f"{_HARM} ~3 NOT ~2 (ha*|conoc*|report*|inform*|registr*|ocurr*)",
        "(nadie|ninguna persona) ~3 (herid*|lesionad*|muert*|perjudicad*|quejado)",
        f"libre de {_HARM}",
        f"(hasta (hoy|ahora|la fecha)|por ahora) ~4 NOT ~6 {_HARM}",
        "NOT ~4 (ha|han|habido|resultado|sufrido) ~3 (herid*|lesion*|dano*|perjudicad*"
        "|muert*)",
    ),
    "no_risk": cues(
        f"NOT ~2 (representa*|supone*|presenta*|implica*|constituye*|hay|existe*"
        f"|corre|causa*|entrana*|significa*) ~3 {_DANGER}",
        f"(ningun|sin|escaso|minimo|poco) {_DANGER}",
        "NOT ~2 (cuestion|problema|asunto|tema|defecto) de seguridad",
        "(puede|pueden) ~1 estar tranquil*",
        "NOT ~2 (peligroso*|peligrosa*|inseguro*|insegura*)",
        "NOT ~3 (motivo|razon|causa) ~2 (alarma|preocupacion|preocuparse|alarmarse)",
        "NOT ~1 (se preocupe|preocuparse|se alarme|alarmarse|hay que preocuparse)",
        "NOT ~2 (afecta*|compromete*|reduce*|perjudica*|pone*) ~3 seguridad",
        "NOT ~2 (relacionad*|tiene que ver) con ~2 seguridad",
        "NOT ~1 (hay|existe|tiene|presenta) ~1 defecto*",
        "(riesgo|peligro) (alguno|ninguno|nulo|minimo|insignificante)",
        "NOT ~2 (pone*|ponen) ~2 (peligro|riesgo)",
    )
    + cues(
        "(es|sigue siendo|sigue) (perfectamente|totalmente|completamente|muy)? segur*"
        " ~2 (conducir*|usar*|manejar*|utilizar*|su vehiculo|el vehiculo)?",
        "(perfectamente|totalmente|completamente|plenamente) segur*",
        "(conducir|manejar|usar|circular|conduciendo|usando|usandolo|manejando) ~4"
        " (con seguridad|con tranquilidad|sin preocup*|normalmente|como siempre"
        "|sin problema*)",
        "segur* ~1 (conducir*|manejar*|usar*)",
        denied=False,
    ),
    "played_down": cues(
        "(exceso|abundancia) de (cautela|precaucion|prudencia)",
        "(precaucion|por cautela|preventiv*)",
        "(improbable*|poco probable*|raro|raros|rara vez|raras veces|rarisim*"
        "|casos aislados|caso aislado|remot*)",
        "(voluntari*)",
        "(cortesia|buena voluntad|gesto comercial)",
        "(mera|simple|pura) (formalidad|rutina)",
        "NOT ~2 (exige|obliga|requiere) ~2 ley",
        "(defecto|falla|problema) (menor|leve|pequen*)",
    ),
    "expiry": cues(
        "(vence|vencen|vencimiento|caduca*|expira*)",
        "(oferta|remedio|reparacion|campana|llamado|programa|trabajo|servicio) ~3"
        " (termina*|finaliza*|cierra*|acaba*|concluye*) ~3 DATE",
        "(gratis|gratuit*|valid*|disponible*|vigente*|sin costo) ~5 hasta ~2 DATE",
        "(tiempo limitado|plazo limitado|ultima oportunidad|hasta agotar"
        "|aproveche ahora|dese prisa|no espere mas)",
        "(fecha limite|fecha tope|ultimo dia)",
        "(solo|dentro de|en|durante) ~2 NUM (dias|meses|semanas|anos|millas) ~2 (de"
        "|desde|a partir de|siguientes) ~2 (esta carta|este aviso|la fecha|hoy"
        "|recib*)",
        "(hasta|menos de|antes de) ~1 NUM millas",
        "(debe|tiene que|hay que) ~6 (antes del|antes de|a mas tardar|hasta) ~3 DATE",
        "(despues del|despues de|a partir del|desde el|pasado el|pasada) ~1 (DATE"
        "|ese dia|esa fecha) ~8 (pagar*|cobra*|costo|cargo|coste|cuenta|factur*)",
        "despues ~4 (por su cuenta|a su cargo|tendra que pagar|cobra*|pagara*)",
        "(antes de|hasta) (fin|final|finales) de (ano|mes|la semana|temporada)",
        "(solo|solamente|unicamente) si ~4 (viene|llama|acude|reserva|pide) ~3 (antes"
        "|hasta|dentro)",
        "(ultimos dias|ultimas semanas|ultimo plazo)",
        denied=False,
    )
    + cues("(ya no|NOT) ~2 (gratis|gratuit*|cubiert*) ~3 (despues|a partir|desde)"),
    "safety_words": cues(
        "(llamado|llamada|retiro|retirada|campana|aviso|defecto|alerta|revision"
        "|notificacion|convocatoria) ~3 (por|de|a|en|para la) seguridad",
        "relacionad* con ~2 seguridad",
        "(seguridad (vial|del vehiculo|de los vehiculos|vehicular))",
        "ley nacional de trafico",
        "(nhtsa|seguridad del trafico)",
        "riesgo de (un)? (accidente*|choque*|lesion*|muerte)",
        "(importante|urgente) ~3 seguridad",
        denied=False,
    ),
    "recall_word": cues(
        "(llamado|llamada|retiro|retirada) (a revision|a taller|de producto|tecnic*"
        "|del fabricante|del mercado|por)",
        "(este|un|el|su|nuestro|del) (recall|llamado|retiro)",
        denied=False,
    ),
    "looks_official": cues(
        "importante (llamado|retiro|aviso|retirada) ~2 seguridad",
        "este aviso se (refiere|aplica) a su (vehiculo|auto|coche)",
        "(emitid*|enviad*|envia|emite) ~4 (de conformidad con|conforme a|en virtud de"
        "|segun|por) ~3 (ley|leyes)",
        "(aviso|notificacion|comunicado|carta) oficial",
        "(ultimo|segundo|final|urgente) aviso",
        "aviso (final|urgente|ultimo)",
        "(en nombre de|autorizad* por|aprobad* por|por orden de) ~1 (nhtsa|gobierno"
        "|departamento|autoridad*)",
        denied=False,
    ),
    "looks_official_but": cues(
        "(aviso|carta|notificacion) ~2 (de|del) ~2 (fabricante|{maker})",
        "NOT ~3 (aviso|oficial|gobierno)",
    ),
    "label": cues(
        "(etiqueta|logotipo*|logo*|sello*|emblema) ~4 (nhtsa|departamento de"
        " transporte*|seguridad del trafico)",
        "(safety recall notice|aviso de llamado de seguridad)",
        denied=False,
    ),
    "claims_decision": cues(
        "(hemos|nuestro taller ha|nuestra tienda ha|nuestro concesionario ha|nuestros"
        " (mecanicos|tecnicos|ingenieros|expertos) han)"
        f" (decidido|determinado|comprobado|concluido|descubierto|encontrado) ~5"
        f" {_FAULT}",
        "nuestro (llamado|retiro) ~2 seguridad",
        "(retiramos|llamamos a revision|estamos retirando)",
        denied=False,
    ),
    "paid_work": cues(
        "(descuento*|cupon*|vale de compra|rebaja*|promocion*|liquidacion)",
        "(% menos|mitad de (precio|tarifa|costo)|por ciento menos|mas barat*"
        "|precio reducido|precio* especial*|oferta* especial*|tarifa especial"
        "|gran oferta|mejor precio|ofertas|ganga*)",
        "(cambio de aceite|rotacion de (llantas|neumaticos)|alineacion|lavado"
        "|afinacion|puesta a punto|revision de (invierno|verano)|limpiaparabrisas"
        "|paquete* de servicio)",
        "(financiamiento|financiacion|prueba de manejo|prueba de conduccion"
        "|nuevo modelo|nuevos modelos|ultimo modelo|comprar un|entregar su vehiculo"
        "|a cuenta de uno nuevo|sala de exposicion)",
        "(autos|coches|vehiculos|modelos) nuevos",
        "(auto|coche|vehiculo) nuevo",
        "(equipo|personal|departamento) de ventas",
        "servicio de (los|las) NUM",
        "(llantas|neumaticos) (nuev*|de invierno|de verano)",
        "(tasa*|valora*|tasacion) ~2 (su|el) ~1 (auto|coche|vehiculo)",
        "(garantia extendida|contrato de servicio|plan de mantenimiento)",
        "(ahorr*) ~2 (MONEY|NUM|dinero|en)",
        "(solo|por|desde|a) MONEY",
        "(tarjeta de regalo|regalo gratis|premio|sorteo|rifa)",
        "(pregunte*|consulte*) ~3 (ofertas|precios|promociones|accesorios|paquetes)",
        denied=False,
    ),
    "parts_here": cues(
        "(pieza*|repuesto*|parte*|refaccion*|juego*) ~2 (esta*|han|ha|se encuentran"
        "|tenemos) ~2 (aqui|disponible*|llegado|en existencia*|listas|listos"
        "|en nuestro taller|en almacen)",
        "(tenemos|contamos con|hay) ~2 (pieza*|repuesto*|refaccion*)",
        "(tenemos|contamos con) ~4 (aqui|en el taller|en existencia*|necesari*)",
        "(recibimos|recibio|hemos recibido) ~4",
        "(los|las|el|la|todo|todas|todos) ~4 (esta|estan|han|ha) ~2 (aqui|llegado"
        "|disponible*|en (el|nuestro) taller|en existencia*)",
        "ya (esta*|han llegado|llegaron) ~1 (aqui|disponible*)",
        "(pieza*|repuesto*|refaccion*) ~2 (llegaron|ya estan)",
        denied=False,
    ),
    "parts_to_come": cues(
        "(pieza*|repuesto*|refaccion*|solucion|remedio|reparacion) ~4 (NOT|todavia"
        "|aun) ~3 (llegado|disponible*|aqui|lista*|esta*|hay)",
        "NOT ~2 (tenemos|hay|recibido|han llegado|estan) ~3 (pieza*|repuesto*|aqui"
        "|solucion)",
        "(esperamos|a la espera|en camino|todavia no|aun no|en cuanto ~2 lleg*"
        "|cuando ~2 (lleg*|disponible*))",
    ),
    "free": cues(
        "(sin|libre de) ~1 (costo|cargo|coste|gasto)",
        "NOT ~2 (cobra*|costara|cuesta|paga|pagara|pagar)",
        "(nada|ni un centavo) ~2 (paga*|cuesta|costara)",
    )
    + cues("(gratis|gratuit*|gratuitamente)", denied=False),
    "maker_pays": cues(
        "(paga|cubre|asume) ~1 (fabricante|{maker})",
        "(fabricante|fabrica|{maker}) ~4 (paga*|cubre*|cubrira*|asume*|corre*|costea*"
        "|cargo)",
        "(pagad*|cubiert*|costead*|a cargo|por cuenta|a costa|a cuenta) ~2 (por|del"
        "|de) ~1 (fabricante|{maker})",
        "{maker} ~6 sin (costo|cargo)",
    ),
    "how_to_book": cues(
        "(llame*|llamar|telefonee|comuniquese|contacte|pongase en contacto|escriba"
        "|visite*|acuda) ~6 (nos|{store_name}|taller|concesionario|{store_phone}"
        "|telefono|a)",
        "(fijar|pedir|reservar|concertar|hacer|programar|acordar) ~3 (cita|dia|fecha"
        "|visita|hora)",
        "llamenos",
        "(marque|reserve|elija) ~4 (NUM|{store_phone}|dia|hora|cita)",
        "(le|les|lo) (llamaremos|avisaremos)",
    ),
    "look_up": cues(
        "(consulta|consulte|escriba|introduzca|busque|verifique|ingrese) ~6 (vin"
        "|numero de identificacion)",
        "vin ~8 (consulta|buscador|sitio|pagina|internet)",
        "nhtsa gov",
    ),
    "own_letter": cues(
        "esta carta (es|viene|procede) de",
        "le escribe ~2 (taller|concesionario|{store_name})",
        "NOT ~3 (aviso|carta|notificacion) ~2 (de|del) ~2 (fabricante|{maker})",
        "(aviso|carta) ~4 (llega|llego|vendra|enviara) ~4 (fabricante|{maker})",
        "(somos|como) ~3 (taller|concesionario|tienda)",
        "su (taller|concesionario) ~4 (escribe|recuerda|envia)",
    ),
    "heading": cues("importante (llamado|retiro|aviso) ~2 seguridad"),
    "applies": cues("este aviso se (refiere|aplica) a su (vehiculo|auto|coche)"),
    "opening": cues(
        "(de conformidad con|conforme a|segun|en virtud de|en cumplimiento de) ~3"
        " (nacional de trafico y seguridad|de seguridad)",
    ),
    "decision": cues(
        "(decidido|determinado|concluido) que (existe|hay) ~1 defecto ~2 relacionad*"
        " con ~2 seguridad",
        "no (cumple*|conforme*) ~3 (norma*|estandar*) federal* ~6 seguridad",
    ),
    "defect": cues("(defecto*|no cumple*|incumpl*|no conform*)"),
    "risk": cues(
        "(choque*|accidente*|lesion*|incendio*|colision*|perdida del? (control"
        "|direccion|frenos)|muerte|quemadura*|peligro*|dano*|herid*|caer*|caida*)",
        "riesgo* ~1 (de|para)",
    ),
    "remedy": cues(
        "(repar*|reemplaz*|sustitu*|correg*|corrig*|inspeccion*|ajust*|instal*"
        "|reembols*|cambi*|actualiz*|solucion*)",
    ),
    "available_from": cues(
        "(pieza*|repuesto*|solucion|reparacion*|trabajo|cita*|taller*|disponible*"
        "|hay|listo*) ~6 (DATE|ahora|hoy|ya|de inmediato|inmediatamente)",
        "(DATE|ahora|hoy|ya) ~5 (pieza*|repuesto*|solucion|reparacion|disponible*)",
    ),
    "complaint": cues(
        "(administrador|secretario|nhtsa|national highway traffic safety"
        " administration|seguridad del trafico|departamento de transporte*)",
    ),
    "complaint_post": cues("(washington|20590|new jersey avenue)"),
    "complaint_phone": cues("(linea ~3 seguridad|llama* gratis|888 327 4236|gratuita)"),
    "complaint_tty": cues("(tty|teletipo)"),
    "complaint_web": cues("(nhtsa gov|sitio web|pagina web|internet|en linea)"),
    "reasonable_time": cues(
        "(60|sesenta) dias", "(plazo|tiempo) (razonable|prudencial)"
    ),
    "time_needed": cues(
        "(tarda*|dura*|lleva*|requiere*|toma*|unos|unas) ~4 (NUM|una|media|dos) ~1"
        " (hora*|minuto*|dia*)",
        "cuanto (tiempo|tarda*)",
    ),
    "paid_before": cues(
        "(reembols*|devolver ~2 dinero|devolucion)", "(ya|antes) ~3 (pago|pagado)"
    ),
    "lessor": cues(
        "(arrend*) ~12 (reenvi*|envi*|entreg*|copia)",
        "(reenvi*|envi*|entreg*) ~6 arrendatario*",
    ),
    "no_remedy_yet": cues(
        "(solucion|reparacion|pieza*|repuesto*|remedio) ~4 (NOT|todavia|aun) ~3"
        " (disponible*|lista*|esta|hay)",
        "(todavia no|aun no)",
    ),
    "second_letter": cues(
        "(escribi*|enviar*|avisar*|informar*|notificar*|escribira*) ~6 (de nuevo"
        "|segunda vez|otra vez|otra|cuando|en cuanto)",
        "(segunda|otra|nueva) (carta|notificacion)",
        "segundo aviso",
    ),
    "emissions_exceed": cues(
        "(emision*|contamin*|escape) ~8 (limite*|norma*|ley|permit*|mas|superan"
        "|exced*)",
        "(exced*|super*|mas de) ~6 (emision*|contamin*|norma*)",
    ),
    "if_sold": cues(
        "(vendi*|ha vendido|ya no (tiene|es dueno)|nuevo dueno|nuevo propietario)"
    ),
    "inspection": cues("(inspeccion|matricul*|registro|certificad*|comprobante)"),
}
