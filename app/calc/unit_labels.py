"""Recognises the unit written in a file's header, in the spellings that people and instruments use.

Only spelling is judged here. "HP" in a header is taken as mechanical horsepower; whoever reads the file
checks that against torque and speed.
"""

import re
import unicodedata

from app.calc.units import UNITS, Unit

_SPELLINGS: dict[str, str] = {
    "kW": "kw kilowatt kilowatts квт",
    "W": "watt watts",
    "hp": "hp bhp whp rwhp fwhp awhp horsepower hpmech mechhp mechanicalhp ihp",
    # The metric horsepower has its own letters in many languages.
    "PS": "ps cv ch hk pk hv лс кс psdin chdin cvdin dinps metrichp hpmetric metrichorsepower",
    "N·m": "nm newtonmeter newtonmeters newtonmetre newtonmetres нм",
    "lbf·ft": "lbft lbsft lbfft ftlb ftlbs ftlbf footpound footpounds poundfoot poundfeet",
    "kgf·m": "kgm kgfm mkg mkp kpm",
    "N": "newton newtons",
    "lbf": "poundforce",
    "kgf": "kp",
    "rpm": (
        "1/min min1 /min u/min upm tr/min trmin omw/min varv/min o/min giri/min obr/min ot/min об/мин r/min "
        "rev/min revs/min revolutions/min t/min"
    ),
    "rad/s": "rad/sec rads rads1",
    "1/s": "s1 rps rev/s hz",
    "hPa": "hektopascal hectopascal hectopascals",
    "mbar": "mb millibar millibars mbara mbarg",
    "kPa": "kpaabs kpaa kpag kilopascal kilopascals кпа",
    "bar": "bara barg bars barabs бар",
    "psi": "psig psia psiabs lb/in2 lbf/in2 lbs/in2",
    "inHg": "inchhg incheshg inchesofmercury inshg",
    "mmHg": "torr",
    "inH2O": "inwc",
    "Pa": "pascal pascals",
    "kgf/cm²": "kg/cm2 kp/cm2",
    "km/h": "kph kmh kmph kmh1 km/u км/ч km/std km/hr",
    "mph": "mi/h mi/hr miles/h miles/hr",
    "m/s": "m/sec ms1 mps",
    "kg": "kilogram kilograms kilogramm",
    "lb": "lbs pound pounds",
    "g": "gram grams",
    "t": "tonne tonnes",
    "m": "meter meters metre metres",
    "ft": "foot feet",
    "in": "inch inches",
    "km": "kilometer kilometers kilometre kilometres",
    "mi": "mile miles",
    "L": "liter litre liters litres ltr",
    "gal (US)": "galus usgal",
    "gal (UK)": "galuk ukgal impgal galimp",
    "s": "sec secs second seconds sek sekunden segundos secondes secondi с сек",
    "ms": "msec millisecond milliseconds",
    "min": "mins minute minutes",
    "°": "deg degree degrees grad °crk °ca degca degcrk °btdc degbtdc °kw °zw",
    "%": "percent pct prozent %rh %rf",
    "λ": "lambda lam",
    "AFR": "a/f a:f",
    "V": "volt volts",
    "mV": "millivolt millivolts",
    "°C": "degc celsius c degreesc °celsius",
    "°F": "degf fahrenheit f degreesf °fahrenheit",
    "K": "kelvin degk",
    "L/100 km": "l/100 lper100km liter/100km litre/100km",
    "mpg (US)": "mpgus usmpg",
    "mpg (UK)": "mpguk ukmpg mpgimp impmpg",
    "km/L": "kml",
}

_LOOKALIKE = str.maketrans("º˚″“”", '°°"""')
_INCH_MARK = re.compile(r"\"(?=hg|h2o)")
# "lb-ft", "lb·ft", "lb ft" and "min^-1" say the same as "lbft" and "min1".
_SEPARATORS = re.compile(r"[\s_.·*⋅•∙×\-−–^]+")


def _fold(text: str) -> str:
    """Letters of one case, separators and surrounding brackets gone, one form of each composed character."""
    folded = unicodedata.normalize("NFKC", text.translate(_LOOKALIKE)).casefold()
    folded = _SEPARATORS.sub("", _INCH_MARK.sub("in", folded)).strip(",:;")
    while len(folded) > 1 and folded[0] in "[({<" and folded[-1] in "])}>":
        folded = folded[1:-1]
    return folded.replace("(", "").replace(")", "")


def _spellings() -> dict[str, Unit]:
    table: dict[str, Unit] = {}
    for symbol, words in _SPELLINGS.items():
        for word in words.split():
            table.setdefault(_fold(word), UNITS[symbol])
    # The symbols themselves last, so that they win over a spelling.
    return table | {_fold(symbol): unit for symbol, unit in UNITS.items()}


_BY_SPELLING = _spellings()


def parse_unit(text: str) -> Unit | None:
    """The unit that a header such as "[lb-ft]", "U/min" or "Nm" writes, or None when it is not known.

    "mpg" and "gal" without a country stay unrecognised. "KM" is kilometres here and metric horsepower in a
    Polish power column: when the quantity is known, use `parse_unit_for`.

    >>> parse_unit("(ft-lbs)").symbol
    'lbf·ft'
    >>> parse_unit("mpg") is None
    True
    """
    return _BY_SPELLING.get(_fold(text))


_IN_CONTEXT: dict[tuple[str, str], str] = {
    ("km", "power"): "PS",
    ("k", "power"): "PS",
    ("mkg", "torque"): "kgf·m",
    ("lb", "torque"): "lbf·ft",
    ("lbs", "torque"): "lbf·ft",
    ("kg", "torque"): "kgf·m",
    ("min", "engine speed"): "rpm",
    ("c", "temperature"): "°C",
    ("deg", "temperature"): "°C",
    ("°", "temperature"): "°C",
}


def parse_unit_for(text: str, quantity: str) -> Unit | None:
    """The unit that `text` means in a column of `quantity`, or None when it cannot be one of that quantity.

    >>> parse_unit_for("KM", "power").symbol
    'PS'
    >>> parse_unit_for("km", "torque") is None
    True
    """
    special = _IN_CONTEXT.get((_fold(text), quantity))
    if special is not None:
        return UNITS[special]
    found = parse_unit(text)
    return found if found is not None and found.quantity == quantity else None
