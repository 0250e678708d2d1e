"""Names, streets and telephone numbers of people who do not exist."""

from __future__ import annotations

from typing import TYPE_CHECKING


if TYPE_CHECKING:
    from random import Random

GIVEN = [
    "Adaeze",
    "Alban",
    "Amrit",
    "Anneliese",
    "Bas",
    "Beatriz",
    "Bilal",
    "Bronwyn",
    "Calixta",
    "Caspian",
    "Dagny",
    "Delphine",
    "Dušan",
    "Eero",
    "Elodie",
    "Emeka",
    "Esperanza",
    "Fenna",
    "Gaspard",
    "Gwendolyn",
    "Hana",
    "Ilse",
    "Inés",
    "Ivo",
    "Jarrah",
    "Jorunn",
    "Kaia",
    "Keanu",
    "Leocadia",
    "Ligia",
    "Łukasz",
    "Maëlle",
    "Marit",
    "Mirela",
    "Nadia",
    "Nils",
    "Nuala",
    "Oisín",
    "Orla",
    "Paloma",
    "Priya",
    "Quentin",
    "Ramiro",
    "Renske",
    "Saskia",
    "Siobhán",
    "Søren",
    "Tamsin",
    "Tariq",
    "Ulla",
    "Viveka",
    "Wanda",
    "Xiomara",
    "Yusuf",
    "Zdenka",
    "Zoë",
]
FAMILY = [
    "Achterberg",
    "Almgren",
    "Amadi",
    "Barros",
    "Bellweather",
    "Bjarke",
    "Castellane",
    "Chaudry",
    "Corrigan",
    "Dahlke",
    "Drummore",
    "Eklund",
    "Faircloth",
    "Ferrante",
    "Galindo",
    "Garrowby",
    "Halloway",
    "Hjelm",
    "Ibarra",
    "Ingram",
    "Jankowiak",
    "Kettering",
    "Kowalczyk",
    "Larkspur",
    "Lindgaard",
    "Mbeki-Strand",
    "Mendieta",
    "Merriweather",
    "Nakamori",
    "Nuñez-Žižek",
    "Oakhollow",
    "Okafor",
    "Oyelaran",
    "Pemberlow",
    "Petrescu",
    "Quillan",
    "Rasmussen",
    "Ravenhurst",
    "Santangelo",
    "Sedgemoor",
    "Skjold",
    "Tamburini",
    "Thackeray",
    "Underhay",
    "Vandermolen",
    "Venkataraman",
    "Wetherell",
    "Whitcombe",
    "Yarrow",
    "Zielinski",
]
FIRMS = (
    "Harrow & Finch Plumbing",
    "Eastmere Bakery Cooperative",
    "Larkfield Surveyors",
    "Northquay Boat Hire",
    "Copperline Electrical",
    "Tidewater School Bus Pool",
    "Juniper Home Care",
    "Saltmarsh Courier",
)
STREETS = [
    "Alder Walk",
    "Brickfield Road",
    "Canal Street",
    "Drover's Way",
    "Elmbank",
    "Foundry Lane",
    "Gull Terrace",
    "Heron Court",
    "Ironmonger Row",
    "Juniper Street",
    "Kiln Road",
    "Larch Avenue",
    "Mill Race",
    "Nettle Hill",
    "Orchard Close",
    "Pump Lane",
    "Quarry View",
    "Reed Street",
    "Saddlers Yard",
    "Threshing Lane",
    "Undercliff",
    "Vinegar Yard",
    "Weavers Green",
    "Yew Tree Road",
]
TOWNS = {
    "EMR": (("Eastmere", "00143"), ("Little Granby", "00145"), ("Osier", "00148")),
    "LHB": (("Low Harbor", "00172"), ("Quayside", "00174")),
    "PNC": (("Pine Crossing", "00188"), ("Upper Tarn", "00191")),
}
FIRM_EVERY = 14
SECOND_LINE_EVERY = 9


def person_name(random: Random) -> str:
    """Invent the name of a person."""
    return f"{random.choice(GIVEN)} {random.choice(FAMILY)}"


def street_of(random: Random) -> str:
    """Invent a house in an invented street."""
    return f"{random.randrange(1, 1900)} {random.choice(STREETS)}"


def town_of(random: Random, store_code: str) -> tuple[str, str]:
    """Choose a town near the store, with its postal code."""
    return random.choice(TOWNS[store_code])


def phone_of(random: Random) -> str:
    """Invent a number of the range that is kept for fiction (555-0100 to 555-0199)."""
    return f"555-01{random.randrange(100):02}"
