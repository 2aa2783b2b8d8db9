"""Recordings as the workshop's dynos export them: every one in a dialect of its own."""

from collections.abc import Callable, Sequence

from seed_data.pulls import Row

HP_KW = 0.745699871582
PS_KW = 0.73549875
LBF_FT_NM = 1.35581794833
MILE_KM = 1.609344
PSI_HPA = 68.9475729317

Writer = Callable[[Sequence[Row], str, int], bytes]

# Air pressure that the gauge reading of the older program was zeroed at.
GAUGE_ZERO_HPA = 1013.0

# Engine load in % per hPa of charge pressure: at 1013 hPa the cylinders are filled to 92 %.
LOAD_PER_HPA = 0.0908


def north_cell(rows: Sequence[Row], car: str, number: int) -> bytes:
    """German headings, semicolons, decimal commas, a preamble and a row of units; Windows-1252."""
    head = ["Prüfstand;Nordhalle, 4 Rollen", f"Fahrzeug;{car}", f"Lauf;{number}", "Korrektur;keine", ""]
    head.append(
        "Zeit;Drehzahl;Drehmoment (Rad);Leistung (Rad);Geschwindigkeit;Lambda;Ladedruck absolut;Ansauglufttemperatur"
    )
    head.append("s;1/min;Nm;kW;km/h;-;mbar;°C")
    lines = [
        f"{r.time_s:.2f};{r.speed_rpm:.0f};{r.torque_nm:.2f};{r.power_kw:.2f};{r.speed_kmh:.1f};{r.lambda_ratio:.3f};"
        f"{r.boost_hpa:.0f};{r.intake_c:.1f}".replace(".", ",")
        for r in rows
    ]
    return "\r\n".join([*head, *lines, ""]).encode("cp1252")


def north_cell_before(rows: Sequence[Row], car: str, number: int) -> bytes:
    """The same rollers before their program was renewed: French headings, units in brackets; UTF-8 with mark."""
    head = [f"Véhicule;{car}", f"Essai;{number}", ""]
    head.append(
        "Temps (s);Régime (tr/min);Puissance roue (ch);Vitesse (km/h);Lambda;Pression de suralimentation (mbar)"
    )
    lines = [
        f"{r.time_s:.2f};{r.speed_rpm:.0f};{r.power_kw / PS_KW:.2f};{r.speed_kmh:.1f};{r.lambda_ratio:.3f};"
        f"{r.boost_hpa - GAUGE_ZERO_HPA:.0f}".replace(".", ",")
        for r in rows
    ]
    return "\r\n".join([*head, *lines, ""]).encode("utf-8-sig")


def south_cell(rows: Sequence[Row], car: str, number: int) -> bytes:
    """English headings with units in brackets, commas and decimal points, no preamble; power only."""
    head = "Time [s],Engine speed [rpm],Wheel power [kW],Vehicle speed [km/h],Lambda,Intake air temp [degC]"
    lines = [
        f"{r.time_s:.3f},{r.speed_rpm:.0f},{r.power_kw:.3f},{r.speed_kmh:.2f},{r.lambda_ratio:.3f},{r.intake_c:.1f}"
        for r in rows
    ]
    return "\n".join([head, *lines, ""]).encode()


def south_cell_with_load(rows: Sequence[Row], car: str, number: int) -> bytes:
    """As the cell writes since it logs the engine's own load as well: filling in proportion to the charge pressure."""
    head = "Time [s],Engine speed [rpm],Wheel power [kW],Vehicle speed [km/h],Lambda,Engine load [%],"
    head += "Intake air temp [degC]"
    lines = [
        f"{r.time_s:.3f},{r.speed_rpm:.0f},{r.power_kw:.3f},{r.speed_kmh:.2f},{r.lambda_ratio:.3f},"
        f"{LOAD_PER_HPA * r.boost_hpa:.1f},{r.intake_c:.1f}"
        for r in rows
    ]
    return "\n".join([head, *lines, ""]).encode()


def south_cell_before(rows: Sequence[Row], car: str, number: int) -> bytes:
    """Tabs, a preamble, a row of units that are not SI."""
    head = [
        f"Vehicle: {car}",
        f"Run no: {number}",
        "",
        "RPM\tTorque\tPower\tSpeed\tLambda\tManifold pressure\tIntake air temp",
    ]
    head.append("1/min\tlbf·ft\thp\tmph\t-\tpsi\t°F")
    lines = [
        f"{r.speed_rpm:.0f}\t{r.torque_nm / LBF_FT_NM:.3f}\t{r.power_kw / HP_KW:.3f}\t{r.speed_kmh / MILE_KM:.2f}\t"
        f"{r.lambda_ratio:.3f}\t{r.boost_hpa / PSI_HPA:.2f}\t{r.intake_c * 1.8 + 32.0:.1f}"
        for r in rows
    ]
    return "\n".join([*head, *lines, ""]).encode()


def typed_sheet(points: Sequence[tuple[float, float, float]]) -> bytes:
    """(engine speed, torque, power) typed from a printed sheet."""
    lines = [f"{rpm:.0f},{torque:.0f},{power:.1f}" for rpm, torque, power in points]
    return "\n".join(["Engine speed (rpm),Torque (Nm),Power (kW)", *lines, ""]).encode()
