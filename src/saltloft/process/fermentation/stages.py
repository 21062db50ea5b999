"""Stages that end when the core is acid: how long they last for the median batch."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from saltloft.process.fermentation.forecast import Fermentation, first_hour
from saltloft.process.fermentation.members import SLOTS, STAGE_SLOTS, Place, members_of
from saltloft.process.fermentation.model import CORE, run, time_grid
from saltloft.process.programme import Span


def with_ends(question: Fermentation, until_ph: tuple[float | None, ...]) -> tuple[Place, ...]:
    """The stages with the length of each that ends by pH.

    Args:
        question: Fermentation.
        until_ph: tuple of float or None, one a stage. [pH]

    Returns:
        Places of the same number; a stage that is not acid in time lasts to its latest end.

    Notes:
        One median batch decides for all members: a room is switched once, by hand.
    """
    places = question.room.places
    for index, level in enumerate(until_ph):
        if level is None:
            continue
        median = np.zeros((1, len(SLOTS) + len(STAGE_SLOTS) * len(places)))
        start_h = sum(place.duration_h.mean for place in places[:index])
        end_h = start_h + places[index].duration_h.high
        time_h = time_grid(max(end_h, 0.25))
        room = replace(question.room, places=places)
        own = members_of(median, question.batch, question.parameters)
        course = run(own, question.parameters.model, time_h, room.at(median, time_h), question.wet.at(time_h))
        reached = float(first_hour(time_h, course.ph[:, CORE], level)[0])
        lasts = min(max(reached - start_h, 0.25), places[index].duration_h.high)
        ended = replace(places[index], duration_h=Span.of(lasts))
        places = (*places[:index], ended, *places[index + 1 :])
    return places
