"""Find a car by any part of VIN, plate, customer, make or model."""

import re
import unicodedata

from app.record.tables import Customer, Vehicle


def folded(text: str) -> str:
    """Lower case without accents or punctuation, so that "rl 12-ab" finds "RL12AB"."""
    # Folded again in between: a letter may come out of a sign as a capital, and out of a capital as two letters.
    plain = unicodedata.normalize("NFKD", unicodedata.normalize("NFKD", text).casefold())
    return re.sub(r"[^\w ]|_", "", "".join(c for c in plain if not unicodedata.combining(c)))


def search_text(vehicle: Vehicle, customer: Customer | None) -> str:
    """What the search looks in; kept with the vehicle and written anew whenever one of its parts changes."""
    parts = [
        vehicle.vin,
        vehicle.plate,
        vehicle.plate.replace(" ", "").replace("-", ""),
        vehicle.make,
        vehicle.model,
        vehicle.engine,
        customer.name if customer is not None else "",
    ]
    return " ".join(folded(part) for part in parts if part)
