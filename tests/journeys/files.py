"""Files as they come from a workshop's tools, made here: images, a table of addresses, coding, recordings of pulls."""

import random
from collections.abc import Sequence

SOFTWARE = "VS20T-3310-A"
MAP_AT, SUM_AT, BLOCK = 0x100, 0x180, range(0x100, 0x180)
# Charge pressure in bar over 4 engine speeds, at 20 % load and at 80 % load; 0.001 bar a count, big-endian.
BOOST_BAR = ((0.9, 1.0, 1.05, 1.0), (1.4, 1.7, 1.8, 1.65))
MORE_BOOST_BAR = ((0.9, 1.0, 1.05, 1.0), (1.4, 1.8, 1.95, 1.65))

LAYOUT = f"""what,name,category,address,last address,columns,rows,data type,byte order,unit,factor,x axis values,x axis unit,y axis values,y axis unit,algorithm,stored at,software number,description
layout,Velmora {SOFTWARE},,,,,,,,,,,,,,,,{SOFTWARE},
map,boost target,boost,0x100,,4,2,uint16,big,bar,0.001,1500 2500 4000 6000,1/min,20 80,%,,,,
checksum,calibration block,,0x100,0x17F,,,,big,,,,,,,SUM-16/8-BIT,0x180,,
volatile,,,0x190,0x19F,,,,,,,,,,,,,,learned values
""".encode()  # noqa: E501 - one line is one row of the table

CODING = b"module;key;value\nBody;long coding;0A 1F 22\nBody;market;EU\nInstrument cluster;variant;03\n"
LOST_CODING = CODING.replace(b"0A 1F 22", b"FF FF FF")


def image(boost_bar: Sequence[Sequence[float]] = BOOST_BAR) -> bytes:
    """16 KiB with the boost target and a block checksum that holds: the 16-bit sum of 0x100 to 0x17F."""
    whole = bytearray(random.Random(3310).randbytes(16 * 1024))
    cells = [round(1000 * bar) for row in boost_bar for bar in row]
    whole[MAP_AT : MAP_AT + 16] = b"".join(cell.to_bytes(2, "big") for cell in cells)
    whole[SUM_AT : SUM_AT + 2] = (sum(whole[at] for at in BLOCK) & 0xFFFF).to_bytes(2, "big")
    return bytes(whole)


def disturbed(data: bytes, *addresses: int) -> bytes:
    """The same bytes with the lowest bit turned over at these addresses, as a bad connection does it."""
    edited = bytearray(data)
    for address in addresses:
        edited[address] ^= 0x01
    return bytes(edited)


def pull(seed: int, more_nm: float = 0.0) -> bytes:
    """A pull from 1,500 to 6,450 1/min: torque at the wheels with half a per cent of scatter in level; `more_nm`
    from 3,000 1/min up."""
    draw = random.Random(seed)
    level = 1 + draw.gauss(0, 0.004)
    lines = ["Engine speed [1/min];Torque [Nm];Intake air temperature [°C]"]
    for rpm in range(1500, 6500, 50):
        torque = 150 + 120 * min(1.0, (rpm - 1500) / 1200) - 60 * max(0.0, (rpm - 4800) / 1700) ** 2
        torque = (torque + more_nm * min(1.0, max(0.0, (rpm - 2500) / 500))) * level + draw.gauss(0, 0.3)
        lines.append(f"{rpm};{torque:.2f};{28 + rpm / 1000:.1f}".replace(".", ","))
    return "\r\n".join(lines).encode()
