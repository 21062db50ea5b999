"""What a lot's readings taught, kept beside its states.

Tomorrow it is taken as it is when it rests on the very same. Written as plain arrays and text, so
that reading it back can run nothing.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from saltloft.process.build import batter_of, members_of
from saltloft.process.draws import Draws
from saltloft.process.kept_states import KeptStates, code_digest, feed
from saltloft.process.learning import (
    ErrorBlocks,
    Fault,
    Learned,
    Likelihood,
    LinearModel,
    LotPrior,
    Measured,
    Weighing,
)
from saltloft.process.packed import pack, unpack
from saltloft.process.parameters import DryingParameters
from saltloft.process.piece import Piece
from saltloft.process.programme import DAY_S, Programme
from saltloft.process.room_air import blocks_of, stage_ends_d

Array = NDArray[np.float64]

FEW = 4  # members whose air is looked at: that of all others is told from the same log
LINEAR = ("jacobian", "place", "expected", "observed", "point", "prior_mean", "prior_covariance")


@dataclass(frozen=True)
class KeptLearned:
    """What was learned, and what it rests on.

    Args:
        rests_on: str. From `learned_from`.
        learned: Learned. Without the offsets of tagged pieces.
    """

    rests_on: str
    learned: Learned

    def to_bytes(self) -> bytes:
        """Written down; the same gives the same bytes."""
        learned = self.learned
        arrays: dict[str, Any] = {}
        told: dict[str, Any] = {"rests_on": self.rests_on, "faults": [asdict(one) for one in learned.faults]}
        told |= {"stages": learned.draws.stages, "runs": learned.runs}
        arrays |= {"lot": learned.draws.lot, "piece": learned.draws.piece, "outliers": learned.outlier_share}
        if learned.likelihood is not None:
            told_of = learned.likelihood
            arrays |= {"precision": told_of.precision, "vector": told_of.vector}
            arrays |= {} if told_of.air is None else {"air": told_of.air}
        if learned.linear is not None:
            told["columns"] = learned.linear.columns
            arrays |= {f"linear_{name}": getattr(learned.linear, name) for name in LINEAR}
            blocks = learned.linear.blocks
            arrays |= {"weight": blocks.weight, "offset": blocks.offset, "group": blocks.group}
        return pack(told, arrays)

    @staticmethod
    def from_bytes(body: bytes) -> KeptLearned | None:
        """What was written; None when it is damaged or of another version."""
        try:
            return _read(*unpack(body))
        except (ValueError, KeyError, TypeError):
            return None


def _read(told: Mapping[str, Any], arrays: Mapping[str, Any]) -> KeptLearned:
    linear = None
    if "columns" in told:
        blocks = ErrorBlocks(arrays["weight"], arrays["offset"], arrays["group"])
        parts = {name: arrays[f"linear_{name}"] for name in LINEAR}
        linear = LinearModel(columns=tuple(told["columns"]), blocks=blocks, **parts)
    likelihood = (
        Likelihood(arrays["precision"], arrays["vector"], arrays.get("air"))
        if "precision" in arrays
        else None
    )
    faults = tuple(Fault(**{**one, "weighings": tuple(one["weighings"])}) for one in told["faults"])
    learned = Learned(
        draws=Draws(arrays["lot"], arrays["piece"], told["stages"]),
        outlier_share=arrays["outliers"],
        likelihood=likelihood,
        faults=faults,
        linear=linear,
        runs=told["runs"],
    )
    return KeptLearned(told["rests_on"], learned)


@dataclass(frozen=True)
class Kept:
    """What one forecast of a lot leaves for the next.

    Args:
        learned: KeptLearned or None.
        states: KeptStates or None.
    """

    learned: KeptLearned | None = None
    states: KeptStates | None = None

    def to_bytes(self) -> bytes:
        """Written down; the same gives the same bytes."""
        parts = [b"" if part is None else part.to_bytes() for part in (self.learned, self.states)]
        return len(parts[0]).to_bytes(8, "big") + parts[0] + parts[1]

    @staticmethod
    def from_bytes(body: bytes) -> Kept:
        """What was written; parts that are damaged or of another version are None."""
        border = 8 + int.from_bytes(body[:8], "big")
        return Kept(KeptLearned.from_bytes(body[8:border]), KeptStates.from_bytes(body[border:]))


def learned_from(
    piece: Piece,
    programme: Programme,
    parameters: DryingParameters,
    draws: Draws,
    *,
    weighings: Sequence[Weighing],
    measured: Sequence[Measured],
    prior: LotPrior | None,
) -> str:
    """Digest of all that learning rests on: the code, the lot, its readings, and the air up to the last.

    Args:
        piece: Piece.
        programme: Programme.
        parameters: DryingParameters.
        draws: Draws. Before anything was learned.
        weighings: sequence of Weighing.
        measured: sequence of Measured.
        prior: LotPrior or None.
    """
    digest = hashlib.sha256(code_digest().encode())
    # Without arrays, so that their text says all of them.
    said = (piece, parameters, tuple(weighings), tuple(measured), len(programme.stages))
    digest.update(repr(said).encode())
    feed(digest, draws)
    feed(digest, prior)
    few = replace(draws, lot=draws.lot[:FEW], piece=draws.piece[: FEW * draws.pieces_each])
    members = members_of(piece, parameters, few, batter_of(piece, parameters, few))
    last_d = max([0.0, *(one.day for one in weighings), *(one.day for one in measured)])
    ends = stage_ends_d(programme, few)
    air = blocks_of(programme, parameters, members, few, ends_d=ends, horizon_d=last_d)
    # The block of the last reading counts whole: its mean hangs on what came after the reading.
    count = int(np.sum(air.end_s < DAY_S * last_d, axis=0).max()) + 1
    for value in vars(air).values():
        feed(digest, None if value is None else value[:count])
    return digest.hexdigest()
