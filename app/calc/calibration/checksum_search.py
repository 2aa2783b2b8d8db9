"""Find the block checksums of a family of images that are known to be good.

What is tried: every stored word that differs between the images, against every algorithm, over ranges between
plausible boundaries: any range with the word elsewhere; ranges that end at the word or begin after it; and large
ranges that the word lies in. A proposal must hold in every image. How likely it would hold by coincidence is
estimated from the number of trials and the number of bits that had to agree; what coincidence could have made is
not shown.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby, islice, pairwise

from app.calc.calibration.checksum import ChecksumDefinition, evaluate
from app.calc.calibration.checksum_algorithms import ALGORITHMS
from app.calc.calibration.checksum_places import common_areas
from app.calc.calibration.checksum_trials import fits, grounds
from app.calc.calibration.image import Image
from app.calc.number_text import counted
from app.errors import BadInput

MAX_IMAGES = 12
MAX_CHANCE = 1e-3
# Of what agrees in the first images, so many are verified: more come from blocks without content only.
_MAX_VERIFIED = 400


@dataclass(frozen=True, slots=True)
class ChecksumCandidate:
    """A checksum that explains a stored word of every image.

    `images_explained` counts different images; `chance` is the estimated probability that the whole search makes
    one such find by coincidence; `note` says in sentences what else is to be known.
    """

    definition: ChecksumDefinition
    images_explained: int
    chance: float
    note: str


def find_checksums(
    images: Sequence[Image],
    *,
    ranges: Iterable[tuple[int, int]] | None = None,
    changed: Iterable[tuple[int, int]] | None = None,
    max_chance: float = MAX_CHANCE,
) -> tuple[ChecksumCandidate, ...]:
    """Propose checksums, the least likely coincidence first.

    Parameters
    ----------
    images : two or more good images of one family; equal ones count once, more than MAX_IMAGES are not looked at.
    ranges : (start, end) addresses to try instead of plausible boundaries; a stored word may lie in them.
    changed : (start, end) addresses in which a stored value is looked for; everywhere when None.
    max_chance : proposals more likely to be coincidence are left out.

    BadInput when fewer than two of the images differ or they share no addresses.
    """
    different = list({(i.digest, i.spans): i for i in images}.values())[:MAX_IMAGES]
    if len(different) < 2:
        raise BadInput("A search for checksums needs at least two different images.", field="images")
    areas = common_areas(different, None if changed is None else tuple(changed))
    if not areas:
        raise BadInput("The images share no addresses; they are not of one family.", field="images")
    by_size = {k: list(g) for k, g in groupby(sorted(ALGORITHMS.values(), key=lambda m: m.size), lambda m: m.size)}
    trials = 0
    found: list[ChecksumDefinition] = []
    for ground in grounds(areas, list(by_size), None if ranges is None else tuple(ranges)):
        for fit, models in fits(ground, by_size[ground.size]):
            trials += fit.count * len(models)
            if math.log2(max(fit.count, 1)) - 8 * ground.size * len(different) > math.log2(max_chance):
                continue  # so few bits that no find could be told from coincidence
            for model in models:
                for parts, at in islice(fit.hits(model), _MAX_VERIFIED):
                    definition = ChecksumDefinition(f"block checksum at 0x{at:X}", model.name, parts, at, fit.order)
                    if all(evaluate(image, definition).state == "holds" for image in different):
                        found.append(definition)
    return _ranked(different, found, trials, max_chance)


def _ranked(
    images: Sequence[Image], found: Iterable[ChecksumDefinition], trials: int, max_chance: float
) -> tuple[ChecksumCandidate, ...]:
    """One candidate for each algorithm and word, best first; weaker ones for the same bytes are left out."""
    groups: dict[tuple[str, int, str], list[ChecksumDefinition]] = {}
    for definition in dict.fromkeys(found):
        groups.setdefault((definition.algorithm, definition.stored_at, definition.byte_order), []).append(definition)
    candidates = []
    for same in groups.values():
        same.sort(key=_plainness)
        chance = _chance(images, same[0], trials)
        if chance <= max_chance:
            candidates.append(ChecksumCandidate(same[0], len(images), chance, _note(same, len(images))))
    candidates.sort(key=lambda c: (c.chance, -c.definition.model.size, c.definition.stored_at))
    shown: list[ChecksumCandidate] = []
    for candidate in candidates:
        low, high = candidate.definition.stored_range
        if not any(low < b and a < high for a, b in (c.definition.stored_range for c in shown)):
            shown.append(candidate)
    return tuple(shown)


def _plainness(definition: ChecksumDefinition) -> tuple[bool, int, int, int]:
    """Of ranges that give the same values: the word outside, few ranges, round ends, the longest."""
    ends = [edge for range_ in definition.ranges for edge in range_]
    roundness = sum((edge & -edge).bit_length() if edge else 32 for edge in ends)
    length = sum(end - start for start, end in definition.ranges)
    return definition.stored_inside, len(definition.ranges), -roundness, -length


def _chance(images: Sequence[Image], definition: ChecksumDefinition, trials: int) -> float:
    """Trials times the probability that the bits which had to agree do so by accident.

    The first image gives the width of the checksum. Every further value gives as much for a CRC; for a sum only
    as much as its change is large, because small changes of two words agree easily.
    """
    size = definition.model.size
    stored = (int.from_bytes(i.read(definition.stored_at, size), definition.byte_order) for i in images)
    values = list(dict.fromkeys(stored))
    width = definition.model.width
    bits = width
    for before, after in pairwise(values):
        step = (after - before) % (1 << width)
        agreed = min(step, (1 << width) - step).bit_length() + 1
        bits += width if definition.model.family == "crc" else min(agreed, width)
    return min(1.0, math.exp2(math.log2(max(trials, 1)) - bits))


def _note(same: Sequence[ChecksumDefinition], images: int) -> str:
    text = f"Holds in all {images} different images."
    if len(same) > 1:
        more = counted(len(same) - 1, "other range tried gives", "other ranges tried give")
        text += f" {more} the same values."
    if same[0].stored_inside:
        text += " The stored value lies inside its range and counts as zero there."
    return text
