"""Tolwyth Curing House: lines, rooms, instruments, people. All invented."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One line of sausages as the house runs it.

    Args:
        code: str. Two letters its lots begin with.
        product: str.
        title: str.
        calibre_mm: float. Filled diameter. [mm]
        piece_kg: float. Green weight of a piece. [kg]
        batch_kg: float. Stuffed per batch. [kg]
        weekdays: tuple of int. Stuffing days, Monday 0.
        fat_pct, salt_pct: float. Of the batter. [%]
        dextrose_g_kg: float. [g/kg]
        ferment_h, ferment_c: float. Planned. [h], [degC]
        dry_days: float. Planned drying and ageing after fermentation. [d]
        target_loss_pct: float. The curer's usual loss at sale. [%]
    """

    code: str
    product: str
    title: str
    calibre_mm: float
    piece_kg: float
    batch_kg: float
    weekdays: tuple[int, ...]
    fat_pct: float
    salt_pct: float
    dextrose_g_kg: float
    ferment_h: float
    ferment_c: float
    dry_days: float
    target_loss_pct: float
    casing: str
    price: str

    @property
    def length_mm(self) -> int:
        """Piece length that carries the green weight at 1050 kg/m3. [mm]"""
        return round(self.piece_kg / (1050 * 0.7854 * (self.calibre_mm / 1000) ** 2) * 1000)


LINES = {
    line.code: line
    for line in (
        Line(
            "HA", "hazel", "Hazel 32", 32, 0.18, 900, (0,), 22, 2.7, 6.0, 36, 24, 16, 40, "collagen", "15.50"
        ),
        Line(
            "RO", "rowan", "Rowan 50", 50, 0.62, 750, (2, 4), 24, 2.7, 6.0, 60, 22, 30, 37, "natural", "12.90"
        ),
        Line(
            "AL", "alder", "Alder 65", 65, 0.98, 1300, (1,), 27, 2.7, 5.0, 72, 22, 45, 35, "natural", "12.40"
        ),
        Line("YE", "yew", "Yew 95", 95, 3.10, 700, (3,), 27, 2.8, 5.5, 84, 20, 80, 33, "fibrous", "13.60"),
    )
}


@dataclass(frozen=True)
class Room:
    """One room and what its air is normally set to.

    Args:
        name, role: str.
        capacity_kg: int. [kg]
        volume_m3: float. [m3]
        temperature_c: float. [degC]
        rh_pct: float. [%RH]
        air_m_s: float. Mean air speed at the pieces. [m/s]
        highest_c: float. Highest temperature it can reach. [degC]
    """

    name: str
    role: str
    capacity_kg: int
    volume_m3: float
    temperature_c: float
    rh_pct: float
    air_m_s: float
    highest_c: float


ROOMS = (
    Room("F1", "fermenting", 2500, 55, 22, 92, 0.40, 34),
    Room("F2", "fermenting", 2500, 55, 22, 92, 0.40, 34),
    Room("D1", "drying", 7000, 180, 14, 81, 0.18, 28),
    Room("D2", "drying", 7000, 180, 14, 82, 0.18, 28),
    Room("A1", "ageing", 12000, 320, 13, 79, 0.10, 26),
    Room("H1", "salting", 3000, 90, 2, 85, 0.10, 12),
    Room("H2", "resting", 14000, 240, 4, 80, 0.12, 12),
    Room("H3", "ham_drying", 7000, 160, 16, 72, 0.15, 28),
    Room("H4", "cellar", 21000, 420, 17, 70, 0.06, 24),
    Room("P1", "packing", 0, 200, 8, 60, 0.20, 22),
    Room("C1", "store", 0, 80, 2, 85, 0.10, 12),
)
ROOM_INDEX = {room.name: index for index, room in enumerate(ROOMS)}

PEOPLE = (
    ("maren", "curer", "Maren Dvorin", "metric"),
    ("ilo", "quality", "Ilo Hastrand", "metric"),
    ("tamsin", "manager", "Tamsin Orrel", "metric"),
    ("besnik", "room_hand", "Besnik", "metric"),
)
DEVICES = (
    ("office", "Office computer"),
    ("tablet-rooms", "Tablet by the drying rooms"),
    ("phone-besnik", "Phone of the room hand"),
    ("tablet-make", "Tablet in the making room"),
)
INSTRUMENTS = (
    ("S1", "scale", "10 g", "", 7),
    ("S2", "scale", "5 g", "", 7),
    ("S3", "scale", "100 g", "P1", 7),
    ("S4", "scale", "500 g", "H1", 7),
    ("pH-A", "ph_meter", "0.01", "", 11),
    ("pH-B", "ph_meter", "0.01", "", 11),
    ("aw-1", "water_activity_meter", "0.001", "", 14),
    ("T-1", "thermometer", "0.1 degC", "", 14),
)
SUPPLIERS = ("sup-01", "sup-02", "sup-03", "sup-04", "sup-05", "sup-06")
SUPPLIER_OF_HIGH_PH_LEGS = "sup-04"
CUSTOMERS = tuple(f"cust-{number:02d}" for number in range(1, 32))
