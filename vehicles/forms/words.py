"""The fields of a list in a person's words."""

from django.utils.translation import gettext_lazy as _


FIELD_WORDS = {
    "vin": _("VIN"),
    "kind": _("kind of vehicle"),
    "model_year": _("model year"),
    "line": _("model line"),
    "engine": _("engine"),
    "plant": _("plant"),
    "serial": _("serial number"),
    "build_date": _("built on"),
    "first_use_date": _("first used on"),
    "odometer": _("odometer"),
    "odometer_date": _("odometer read on"),
    "plate": _("plate"),
    "standing": _("where it stands"),
    "owner_name": _("owner's name or last name"),
    "owner_given_name": _("owner's first name"),
    "owner_kind": _("person or firm"),
    "role": _("owner, lessee or lessor"),
    "tenure_from": _("owner since"),
    "street": _("street"),
    "street2": _("second street line"),
    "city": _("city"),
    "region": _("state or region"),
    "postal_code": _("postal code"),
    "country": _("country"),
    "phone": _("telephone"),
    "email": _("e-mail"),
    "language": _("language"),
    "address_source": _("source of the address"),
}
DATE_WORDS = {
    name: FIELD_WORDS[name]
    for name in ("build_date", "first_use_date", "odometer_date", "tenure_from")
}
CHANGE_WORDS = {
    **FIELD_WORDS,
    "odometer_on": _("odometer read on"),
    "owner": _("owner"),
    "lessee": _("lessee"),
    "lessor": _("lessor"),
}
