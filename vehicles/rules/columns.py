"""What each column of a list holds, told from its header and its cells.

A guess is a proposal with its reason; the person sees it and may correct it. The
result of both is a mapping: field name to column index (from 0).
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, NamedTuple

from dealership.rules.refusals import Refusal
from vehicles.rules.dates import read_date
from vehicles.rules.vin import BulkResult, check_many, normalise_vin


if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence

# Header words as lists carry them, in English, German, Spanish and French (common
# practice, no source). First the field's own words, the best first.
HEADER_WORDS: dict[str, tuple[str, ...]] = {
    "vin": (
        "vin", "vin number", "vehicle identification number", "chassis number",
        "chassis no", "chassis", "vin no", "full vin", "fin", "fahrgestellnummer",
        "fahrzeug identifizierungsnummer", "fahrgestell nr", "numero de bastidor",
        "bastidor", "niv", "numero de serie del vehiculo", "numero de chasis",
        "numero de chassis", "numero d identification", "n de chassis",
    ),
    "kind": (
        "kind", "vehicle kind", "vehicle type", "vehicle class", "fahrzeugart",
        "tipo de vehiculo", "type de vehicule", "genre", "weight class",
    ),
    "model_year": (
        "model year", "year", "my", "yr", "mdl yr", "modelyear", "year model",
        "modelljahr", "ano modelo", "ano", "annee modele", "annee", "baujahr",
    ),
    "line": (
        "line", "model line", "model", "model name", "vehicle model", "series",
        "carline", "modell", "baureihe", "modelo", "linea", "modele", "gamme",
    ),
    "engine": (
        "engine", "engine code", "engine type", "motor", "motorcode",
        "motorkennbuchstabe", "motortyp", "tipo de motor", "codigo motor", "moteur",
        "code moteur",
    ),
    "plant": (
        "plant", "plant code", "assembly plant", "factory", "built at", "werk",
        "planta", "fabrica", "usine",
    ),
    "serial": (
        "serial", "serial number", "serial no", "production number", "sequence",
        "seriennummer", "fortlaufende nummer", "numero de serie", "numero serie",
    ),
    "build_date": (
        "build date", "built", "built on", "date built", "production date",
        "manufacture date", "date of manufacture", "prod date", "mfg date",
        "baudatum", "produktionsdatum", "herstellungsdatum", "fecha de fabricacion",
        "fecha fabricacion", "fecha de produccion", "date de fabrication",
        "date de production",
    ),
    "first_use_date": (
        "first use date", "first use", "in service date", "in service",
        "first registration", "first registered", "registration date", "sold date",
        "date sold", "sale date", "delivery date", "retail date", "warranty start",
        "erstzulassung", "ez", "zulassungsdatum", "fecha de matriculacion",
        "primera matriculacion", "fecha de venta", "date de mise en circulation",
        "mise en circulation", "premiere immatriculation", "date de vente",
    ),
    "odometer": (
        "odometer", "odometer reading", "mileage", "miles", "odo", "kilometers",
        "kilometres", "km", "mileage in", "last mileage", "kilometerstand",
        "laufleistung", "km stand", "kilometraje", "kilometros", "kilometrage",
    ),
    "odometer_date": (
        "odometer date", "odometer read on", "mileage date", "date of reading",
        "reading date", "last service", "last visit", "last service date",
        "kilometerstand datum", "ablesedatum", "letzter besuch",
        "fecha de kilometraje", "fecha kilometraje", "date du kilometrage",
        "date de releve",
    ),
    "plate": (
        "plate", "license plate", "licence plate", "plate number", "plate no", "tag",
        "license", "license no", "registration number", "registration no",
        "kennzeichen", "matricula", "placa", "placas", "immatriculation", "plaque",
    ),
    "standing": (
        "standing", "where it stands", "stock type", "vehicle status", "stock status",
        "status", "new used", "inventory type", "bestand", "fahrzeugstatus", "estado",
        "statut",
    ),
    "owner_name": (
        "owner name", "owner", "name", "customer", "customer name", "full name",
        "buyer", "company", "last name", "surname", "account name", "halter",
        "kunde", "kundenname", "nachname", "propietario", "nombre", "cliente",
        "apellidos", "apellido", "proprietaire", "nom", "client",
    ),
    "owner_given_name": (
        "first name", "given name", "forename", "vorname", "nombre de pila", "prenom",
    ),
    "owner_kind": (
        "owner kind", "owner type", "customer type", "person firm", "kundenart",
        "tipo de cliente", "type de client",
    ),
    "role": (
        "role", "owner role", "relation", "relationship", "rolle", "rol", "relacion",
    ),
    "tenure_from": (
        "tenure from", "owner since", "owned since", "ownership date", "date acquired",
        "purchase date", "purchased", "halter seit", "kaufdatum", "propietario desde",
        "fecha de compra", "proprietaire depuis", "date d achat",
    ),
    "street": (
        "street", "street address", "address", "address 1", "address1",
        "address line 1", "addr1", "addr 1", "mailing address", "strasse",
        "anschrift", "adresse", "calle", "direccion", "domicilio", "rue", "adresse 1",
    ),
    "street2": (
        "street 2", "street2", "address 2", "address2", "address line 2", "addr2",
        "addr 2", "apt", "suite", "unit", "adresszusatz", "direccion 2",
        "complement d adresse", "adresse 2",
    ),
    "city": (
        "city", "town", "post town", "municipality", "ort", "stadt", "wohnort",
        "ciudad", "localidad", "municipio", "ville", "commune",
    ),
    "region": (
        "region", "state", "province", "st", "county", "state code", "bundesland",
        "provincia", "departement",
    ),
    "postal_code": (
        "postal code", "zip", "zip code", "zipcode", "zip 4", "postcode", "post code",
        "plz", "postleitzahl", "codigo postal", "cp", "code postal",
    ),
    "country": (
        "country", "country code", "nation", "land", "pais", "pays",
    ),
    "phone": (
        "phone", "telephone", "phone number", "mobile", "cell", "cell phone",
        "home phone", "tel", "telefon", "telefonnummer", "handy", "mobil", "telefono",
        "movil", "mobile phone", "work phone", "portable",
    ),
    "email": (
        "email", "e mail", "email address", "e mail address", "mail", "correo",
        "correo electronico", "courriel", "adresse e mail",
    ),
    "language": (
        "language", "preferred language", "lang", "sprache", "idioma", "langue",
    ),
    "address_source": (
        "address source", "source", "source of address", "adressquelle",
        "origen de la direccion", "source de l adresse",
    ),
}  # fmt: skip
FIELDS = tuple(HEADER_WORDS)

_FIELD_OF_WORDS = {
    words: (field, place)
    for field, all_words in HEADER_WORDS.items()
    for place, words in enumerate(all_words)
}
_DATE_FIELDS = ("build_date", "first_use_date", "odometer_date", "tenure_from")
_EMAIL = re.compile(r"^[^@\s]+@[^@\s]+\.[^@\s.]+$")
_PHONE = re.compile(r"^\+?[\d\s().\-/]{7,20}(?:\s?(?:x|ext\.?)\s?\d+)?$")
_NUMBER = re.compile(r"^-?[\d.,' ]+\s?(?:mi|km|miles)?\.?$", re.IGNORECASE)
_ANY_YEAR = re.compile(r"^\d{2}(?:\d{2})?(?:\.0)?$")
_YEAR = re.compile(r"^(?:19[89]\d|20[0-4]\d)(?:\.0)?$")
_KILOMETRES = re.compile(r"\b(?:km|kilom\w*|laufleistung)\b")

_EXACT, _PARTIAL, _BY_CONTENT = 0.95, 0.6, 0.7
_PLACE_COST = 0.005
_AGREES, _DENIES = 0.04, 0.35
_ENOUGH = 0.5
_MANY = 0.8
_SOME = 0.3


class ColumnGuess(NamedTuple):
    """What one column is thought to hold; `field` is None when nothing fits.

    `confidence` lies between 0 and 1.
    """

    column: int
    header: str
    field: str | None
    confidence: float
    why: str


class MappingFault(Refusal):
    """The mapping names a field or a column that is not there, or one twice."""


@dataclass(frozen=True, slots=True)
class _Claim:
    confidence: float
    field: str
    column: int
    why: str


def guess_columns(
    headers: Sequence[str], sample: Sequence[Sequence[str]]
) -> tuple[ColumnGuess, ...]:
    """Guess what each column holds, from headers and some rows (a few hundred do).

    Each field is given to one column at most, each column holds one field at most;
    the surest claims are met first.
    """
    claims: list[_Claim] = []
    empty = set()
    for column, header in enumerate(headers):
        cells = [row[column].strip() for row in sample if column < len(row)]
        filled = [cell for cell in cells if cell]
        if sample and not filled:
            empty.add(column)
        claims += _claims(column, header, filled)
    claims.sort(key=lambda claim: (-claim.confidence, claim.column))
    taken: dict[int, _Claim] = {}
    fields: set[str] = set()
    for claim in claims:
        if claim.column not in taken and claim.field not in fields:
            taken[claim.column] = claim
            fields.add(claim.field)
    return tuple(
        _guess(column, header, taken.get(column), empty=column in empty)
        for column, header in enumerate(headers)
    )


def mapping_of(guesses: Sequence[ColumnGuess]) -> dict[str, int]:
    """Give the mapping that the guesses propose: field name to column index."""
    return {guess.field: guess.column for guess in guesses if guess.field}


def check_mapping(mapping: Mapping[str, int], *, columns: int) -> None:
    """Check a mapping that a person corrected.

    Raises MappingFault when the VIN has no column, a field is not known, a column is
    not there, or a column is used twice.
    """
    seen: dict[int, str] = {}
    for field, column in mapping.items():
        if field not in HEADER_WORDS:
            raise MappingFault(f"“{field}” is not a field. Choose one of the list.")
        if not 0 <= column < columns:
            raise MappingFault(
                f"Column {column + 1} for “{field}” is not in the file, which has"
                f" {columns} columns. Choose another one."
            )
        if column in seen:
            raise MappingFault(
                f"Column {column + 1} is chosen for “{seen[column]}” and for"
                f" “{field}”. Choose another column for one of them."
            )
        seen[column] = field
    if "vin" not in mapping:
        raise MappingFault(
            "No column is chosen for the VIN. Choose the one with the VINs."
        )


def odometer_is_in_kilometres(header: str) -> bool:
    """Tell from the header whether readings are kilometres rather than miles."""
    return bool(_KILOMETRES.search(folded_header(header)))


def folded_header(header: str) -> str:
    """Give a header as it is compared: no case, accents, signs or doubled spaces."""
    spaced = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", header)
    parts = unicodedata.normalize("NFKD", spaced.replace("ß", "ss"))
    plain = "".join(c for c in parts if not unicodedata.combining(c)).lower()
    return " ".join(re.sub(r"[^a-z0-9]+", " ", plain).split())


def _claims(column: int, header: str, cells: list[str]) -> list[_Claim]:
    claims = []
    for field, confidence, why in _by_header(folded_header(header)):
        fit = _fit(field, cells)
        sure = confidence
        told = why
        if fit is not None and fit >= _MANY:
            sure, told = confidence + _AGREES, f"{why}; the cells agree"
        elif fit is not None and fit < _SOME:
            sure, told = (
                confidence - _DENIES,
                f"{why}; but the cells do not look like it",
            )
        claims.append(_Claim(round(sure, 3), field, column, told))
    claims += [
        _Claim(round(_BY_CONTENT * share, 3), field, column, f"{share:.0%} of {words}")
        for field, words, share in _by_content(cells)
        if share >= _MANY or (field == "vin" and share >= _ENOUGH)
    ]
    return [claim for claim in claims if claim.confidence >= _ENOUGH]


def _by_header(words: str) -> list[tuple[str, float, str]]:
    """Give fields that the header names, with how sure that is."""
    if not words:
        return []
    for key in (words, re.sub(r" \d+$", "", words)):
        exact = _FIELD_OF_WORDS.get(key)
        if exact is not None:
            field, place = exact
            slip = 0.0 if key == words else 0.1
            return [(field, _EXACT - slip - place * _PLACE_COST, "the header says so")]
    tokens = f" {words} "
    found: dict[str, float] = {}
    for known, (field, _place) in _FIELD_OF_WORDS.items():
        if len(known) >= len("vin") and f" {known} " in tokens:
            # the last word names the thing: an owner city is a city
            share = len(known) / len(words) + words.endswith(known)
            found[field] = max(found.get(field, 0.0), share)
    return [
        (field, _PARTIAL + 0.15 * share, "the header speaks of it")
        for field, share in found.items()
    ]


def _fit(field: str, cells: list[str]) -> float | None:
    """Tell which share of the cells looks like the field; None where no form is set."""
    form = _FORMS.get(field)
    if form is None or not cells:
        return None
    return form(cells)


def _by_content(cells: list[str]) -> list[tuple[str, str, float]]:
    if not cells:
        return []
    return [
        ("vin", "the cells pass the VIN check", _vin_share(cells)),
        ("email", "the cells are e-mail addresses", _share(cells, _EMAIL)),
        ("model_year", "the cells are years", _share(cells, _YEAR)),
    ]


def _vin_share(cells: list[str]) -> float:
    results = check_many([normalise_vin(cell) for cell in cells])
    return float((results == BulkResult.GOOD).mean())


def _vin_shape_share(cells: list[str]) -> float:
    results = check_many([normalise_vin(cell) for cell in cells])
    good = (results == BulkResult.GOOD) | (results == BulkResult.WRONG_DIGIT)
    return float(good.mean())


def _share(cells: list[str], pattern: re.Pattern[str]) -> float:
    return sum(bool(pattern.match(cell)) for cell in cells) / len(cells)


def _date_share(cells: list[str]) -> float:
    readable = ("", "date_order_open")
    return sum(read_date(cell).code in readable for cell in cells) / len(cells)


def _word_share(cells: list[str]) -> float:
    """Tell the share of cells that are words, for names and towns."""
    return sum(any(map(str.isalpha, cell)) for cell in cells) / len(cells)


_FORMS: dict[str, Callable[[list[str]], float]] = {
    "vin": _vin_shape_share,
    "model_year": lambda cells: _share(cells, _ANY_YEAR),
    "odometer": lambda cells: _share(cells, _NUMBER),
    "email": lambda cells: _share(cells, _EMAIL),
    "phone": lambda cells: _share(cells, _PHONE),
    "owner_name": _word_share,
    "city": _word_share,
    **dict.fromkeys(_DATE_FIELDS, _date_share),
}


def _guess(
    column: int, header: str, claim: _Claim | None, *, empty: bool
) -> ColumnGuess:
    if claim is None:
        why = "the column is empty" if empty else "nothing in it is known"
        return ColumnGuess(column, header, None, 0.0, why)
    why = f"{claim.why}; the column is empty" if empty else claim.why
    return ColumnGuess(column, header, claim.field, min(claim.confidence, 1.0), why)
