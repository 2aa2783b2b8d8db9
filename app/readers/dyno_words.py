"""The words by which the columns of a dyno or log file are known, in the languages that shops write.

A file's words are folded first: one case, no accents, anything but letters and digits as one blank. A word list
names a quantity, never a device.
"""

import re
import unicodedata
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Channel:
    """One quantity a column can hold: the channel's name, its kind of unit, the unit its numbers are kept in.

    `words` and `not_words` are regular expressions over the folded header; `assumed` is the unit taken when none
    is written, if the trade knows only one.
    """

    name: str
    quantity: str
    kept_in: str
    words: re.Pattern[str]
    not_words: re.Pattern[str] | None = None
    assumed: str | None = None


def fold(text: str) -> str:
    """Lower case, accents gone, everything but letters and digits as single blanks.

    >>> fold("Régime_moteur [tr/min]")
    'regime moteur tr min'
    """
    decomposed = unicodedata.normalize("NFKD", text.replace("λ", " lambda ").casefold())
    plain = "".join(c for c in decomposed if not unicodedata.combining(c)).replace("ł", "l").replace("ø", "o")
    return " ".join(re.findall(r"[^\W_]+", plain))


_TARGET = r"target|\bset\b|setpoint|soll|consigne|objetivo|obiettivo|desired|request|limit|" r"\bmax|\bmin\b(?! 1)"


def _channel(
    name: str,
    quantity: str,
    kept_in: str,
    words: str,
    *,
    no: str | None = None,
    assumed: str | None = None,
) -> Channel:
    return Channel(name, quantity, kept_in, re.compile(words), re.compile(no) if no else None, assumed)


_NOT_ENGINE = (
    r"roll|rodillo|rullo|trommel|tambour|drum|turbo|\bturbine|wheel|\brad\b|raddreh|roue|"
    r"rueda|ruota|gear|getriebe|"
    r"boite|caja|cambio|output|input|fan|pump|compress|idle|leerlauf"
)

CHANNELS: tuple[Channel, ...] = (
    _channel(
        "loss_power_kw",
        "power",
        "kW",
        r"(power|leistung|puissance|potencia|potenza|effekt|vermogen).*(loss|lost|drag|"
        r"verlust|schlepp|perdue|perdida|"
        r"persa|perdita|forlust|verlies)|(loss|drag|verlust|schlepp|perte|perdida|"
        r"perdita).*(power|leistung|puissance|"
        r"potencia|potenza)|verlustleistung|schleppleistung",
    ),
    _channel(
        "engine_speed_rpm",
        "engine speed",
        "rpm",
        r"engine speed|engine rpm|drehzahl|regime|regimen|revoluciones|\bgiri\b|\brpm\b|"
        r"varvtal|toerental|obrotow|"
        r"obroty|predkosc obrot|kierros|otack|оборот|rotac|\brevs\b|\bn mot|omdrejn|turtall|"
        r"fordulat|turatie|\bn\b|"
        r"\btr min\b|\bu min\b|\bspeed\b",
        no=f"{_NOT_ENGINE}|{_TARGET}|vehicle|road|km h|mph",
        assumed="rpm",
    ),
    _channel(
        "roller_speed_rpm",
        "engine speed",
        "rpm",
        r"(roll|rolle|rouleau|rodillo|rullo|trommel|tambour|drum).*(rpm|speed|drehzahl|regime|"
        r"giri|vitesse|velocidad)|"
        r"rollendrehzahl|trommeldrehzahl",
    ),
    _channel(
        "power_kw",
        "power",
        "kW",
        r"power|leistung|puissance|potencia|potenza|effekt|vermogen|\bmoc\b|\bteho\b|vykon|"
        r"мощност|horsepower|\b[wb]?hp\b|"
        r"\bps\b|\bkw\b|\bcv\b|\bch\b|\bpk\b|\bhk\b|teljesitmeny|putere",
        no=f"steering|factor|{_TARGET}",
    ),
    _channel(
        "torque_nm",
        "torque",
        "N·m",
        r"torque|drehmoment|\bmoment\b|\bcouple\b|\bpar\b|coppia|koppel|vridmoment|vaanto|"
        r"kroutici|крутящ|\bmd\b|binario|"
        r"\btq\b|\btrq\b|\bn m\b|\bnm\b|\bf?lbs? ?ft\b|\bft ?lbs?\b|nyomatek|cuplu",
        no=_TARGET,
    ),
    _channel(
        "vehicle_speed_kmh",
        "vehicle speed",
        "km/h",
        r"vehicle speed|road speed|geschwindigkeit|vitesse|velocidad|velocita|hastighet|"
        r"snelheid|predkosc|nopeus|\bspeed\b|"
        r"скорост|rychlost|\bkm h\b|\bmph\b|\bkph\b|\bvss\b|roller speed",
        no=_TARGET,
    ),
    _channel(
        "time_s",
        "time",
        "s",
        r"\btime\b|\bzeit\b|\btemps\b|tiempo|\btempo\b|\btid\b|\btijd\b|\bczas\b|\baika\b|\bcas\b|"
        r"врем|elapsed|\bt\b|timestamp",
        assumed="s",
    ),
    _channel("lambda_", "lambda", "λ", r"lambda|luftzahl|\blam\b", no=f"{_TARGET}|volt", assumed="λ"),
    _channel("air_fuel_ratio", "air-fuel ratio", "AFR", r"\bafr\b|air fuel|\ba f\b|lambda", no=_TARGET, assumed="AFR"),
    _channel(
        "manifold_pressure_hpa",
        "pressure",
        "hPa",
        r"\bmap\b|manifold|saugrohr|\babs(olute?)?\b.*(boost|press|druck)|(boost|ladedruck|" r"charge press).*\babs",
        no=_TARGET,
    ),
    _channel(
        "boost_hpa",
        "pressure",
        "hPa",
        r"boost|ladedruck|suraliment|pression turbo|presion (del |de )?turbo|sovraliment|"
        r"laddtryck|turbodruck|turbo press|"
        r"charge press|ahtopaine|pression de suralim|press\w* turbo|doladow|наддув",
        no=f"{_TARGET}|temp",
    ),
    _channel(
        "exhaust_temperature_c",
        "temperature",
        "°C",
        r"\begt\b|(exhaust|abgas|echappement|escape|scarico|avgas|uitlaat).*(temp|\bc\b|"
        r"\bf\b)|abgastemp|"
        r"temp\w* .*(exhaust|abgas|echappement|escape|scarico)",
    ),
    _channel(
        "intake_temperature_c",
        "temperature",
        "°C",
        r"\biat\b|\bmat\b|(intake|inlet|charge|manifold).*temp|ansaug\w*temp|ladelufttemp|"
        r"temp\w* .*(admission|admision|"
        r"aspirazione|ansaug|ladeluft)|insug\w*temp",
    ),
    _channel(
        "coolant_temperature_c",
        "temperature",
        "°C",
        r"\bect\b|\bclt\b|(coolant|water).*temp|kuhl\w*temp|wassertemp|temp\w* .*(eau|refroid|"
        r"refriger|agua|acqua|"
        r"coolant|water)|kylvatten",
    ),
    _channel(
        "oil_temperature_c", "temperature", "°C", r"oil.*temp|oltemp|oeltemp|temp\w* .*(huile|aceite|olio|\bol\b|oil)"
    ),
    _channel(
        "air_temperature_c",
        "temperature",
        "°C",
        r"(ambient|air|room|cell|umgebung\w*|raum|luft) ?temp|lufttemp|temp\w* .*(air|aire|"
        r"aria|ambiant|ambiente|luft)",
    ),
    _channel("humidity_percent", "ratio", "%", r"humid|feucht|\brh\b|umidita|humedad|fukt|vochtig", assumed="%"),
    _channel(
        "fuel_pressure_hpa",
        "pressure",
        "hPa",
        r"(fuel|rail|kraftstoff|carburant|combustible|carburante|bransle).*(press|druck|tryck|"
        r"pression|presion)|"
        r"raildruck|kraftstoffdruck|press\w* .*(carburant|combustible|rail|fuel)",
        no=_TARGET,
    ),
    _channel(
        "air_pressure_hpa", "pressure", "hPa", r"baro|luftdruck|lufttryck|atmos|(air|ambient) press|umgebungsdruck"
    ),
    _channel(
        "load_percent",
        "ratio",
        "%",
        r"\bload\b|engineload|calcload|absload|motorlast|\blast\b|lastgrad|motorbelast|belastn?ing|"
        r"charge (du )?(moteur|calcul)|charge (absolue|relative)|taux de charge|carga (del |do )?motor|"
        r"carga (calculada|absoluta)|carico (del )?motore|carico (calcolato|assoluto)|"
        r"obciazeni|kuormitu|zatizeni|нагрузк|terheles|sarcina",
        no=f"{_NOT_ENGINE}|{_TARGET}|brake|dyno|cell|tyre|tire|axle|batter|alternator|generator|electric|"
        r"\blast (run|pull)|roller|power|torque|\bkg\b|\bg (rev|cyl|stroke)|\bm?g (hub|str)|\bk?n\b",
        assumed="%",
    ),
    _channel(
        "throttle_percent",
        "ratio",
        "%",
        r"throttle|drossel|papillon|mariposa|farfalla|\btps\b|pedal|accelerat|acelerador|"
        r"acceleratore|gaspedal|gas ped",
        no=_TARGET,
        assumed="%",
    ),
    _channel(
        "knock_retard_deg",
        "angle",
        "°",
        r"knock|klopf|cliquetis|picado|detona|knack|\bkr\b",
        no="volt|count|thresh|level|pegel",
        assumed="°",
    ),
    _channel(
        "ignition_advance_deg",
        "angle",
        "°",
        r"ignition|\bign\b|spark|zund|allumage|encendido|accensione|advance|avance|anticipo|" r"\btiming\b|tandning",
        no=f"{_TARGET}|coil|volt|cam",
        assumed="°",
    ),
    _channel(
        "battery_voltage_v",
        "voltage",
        "V",
        r"batter|voltage|bordnetz|spannung|tension|voltaje|tensione|\bvbat|\bubat",
        no="lambda|sensor|knock",
    ),
    _channel(
        "state_of_charge_percent",
        "ratio",
        "%",
        r"\bsoc\b|state of charge|ladezustand|etat de charge|estado de carga|"
        r"stato di carica",
        assumed="%",
    ),
)
"""Most particular first: a header belongs to the first channel whose words and unit both fit."""

BY_NAME: dict[str, Channel] = {channel.name: channel for channel in CHANNELS}

ANY_TARGET = re.compile(_TARGET)
"""Words of a value that was asked for and not measured."""

_PULL_WORD = (
    r"(?:run|pull|sweep|lauf|messung|essai|passage|prueba|pasada|prova|lancio|meting|" r"korning|pomiar|test|ajo)"
)
PULL_COLUMN = re.compile(rf"{_PULL_WORD}(?: (?:no|nr|num|number|id|index|nummer|numero))?")
"""A folded header that names the column which numbers the pulls."""

PULL_LABEL = re.compile(rf"\b{_PULL_WORD} ?(?:no |nr )?(\d{{1,3}}|[a-z])\b|(?:^| )(\d{{1,2}})$")
"""The number of a pull inside a folded header, as in "run 2 power" or "power 2"."""

AT_THE_WHEELS = re.compile(r"wheel|\brad|roue|rueda|ruota|hjul|wiel|\bw?hp\b(?<=whp)|rwhp|rear|tractive|zugkraft")
AT_THE_ENGINE = re.compile(r"engine|crank|flywheel|motor(?!dreh)|moteur|kurbel|schwungrad|\bbhp\b|motore|norm")
CORRECTED = re.compile(r"(?<!un)\bcorr|korr|corrig|correg|korrig|\bsae\b|\bdin\b|\biso\b|\bece\b|norm|\bstd\b")
UNCORRECTED = re.compile(r"uncorr|unkorr|non corr|sans corr|sin corr|senza corr|observed|raw|measured|gemessen|roh")
