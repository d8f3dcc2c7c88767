"""What was proved of dialects, kept in the user's folder: one file for each time, never written again."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from railwright.dialects.files import user_folder
from railwright.dialects.proofs import PROVOKED, InstrumentModel, Proof, Proofs
from railwright.regular import text_of

FOLDER = "proved"
"""Folder in the user's folder."""

FORMAT = 1


class ProofFileError(Exception):
    """A file of what was proved that cannot be read or written; one line for people."""


def proofs_folder() -> Path:
    """Where it is kept; it need not be there."""
    return user_folder() / FOLDER


def read_proofs(folder: Path | None = None) -> Proofs:
    """Everything that is kept, in order of time. ProofFileError where a file is none of these: one that is
    left out silently would make what it proved unproved, one that is half read would prove too much.
    """
    found: list[Proof] = []
    place = folder or proofs_folder()
    try:
        paths = sorted(place.glob("*.json"))
    except OSError as error:
        raise ProofFileError(_told(place, error)) from None
    for path in paths:
        try:
            found += _proofs(json.loads(text_of(path)))
        except OSError as error:
            raise ProofFileError(_told(path, error)) from None
        except (ValueError, KeyError, TypeError):
            told = "expected what 'railwright prove' or 'railwright dialect try' keeps, got something else"
            raise ProofFileError(f"{path}:1:1: {told}; move it away, and prove again what it held") from None
    return Proofs(tuple(sorted(found, key=lambda proof: proof.at)))


def keep_proofs(proofs: Sequence[Proof], folder: Path | None = None) -> Path | None:
    """Write a file of these, whole or not at all; gives its path, None where there is nothing to keep.
    ProofFileError where it cannot be written.
    """
    if not proofs:
        return None
    # Late: every check reads, and hardly any command writes.
    import uuid
    from dataclasses import asdict

    from railwright.records.manifest import write_atomically

    place = folder or proofs_folder()
    first = proofs[0]
    stamp = "".join(sign for sign in first.at[:19] if sign.isalnum())
    path = place / f"{stamp}-{uuid.uuid4().hex[:8]}.json"
    data = {"format": FORMAT, "proofs": [asdict(proof) for proof in proofs]}
    try:
        place.mkdir(parents=True, exist_ok=True)
        write_atomically(path, json.dumps(data, indent=2) + "\n")
    except OSError as error:
        raise ProofFileError(_told(error.filename or place, error)) from None
    return path


def _told(path: object, error: OSError) -> str:
    reason = (error.strerror or str(error)).casefold()
    return f"{path}: expected a place for what was proved, got an error: {reason}; put that right"


def _proofs(data: Mapping[str, Any]) -> list[Proof]:
    if data["format"] != FORMAT:
        raise ValueError(f"format {data['format']}")
    return [_proof(each) for each in data["proofs"]]


def _proof(data: Mapping[str, Any]) -> Proof:
    texts = ("entries", "dialect", "digest", "at", "by", "how", "seen")
    who = data["instrument"]
    given = [who["maker"], who["model"], who["version"], *(data[name] for name in texts)]
    channel = data["channel"]
    if not all(isinstance(each, str) for each in given) or type(channel) is not int:
        raise TypeError("expected texts, and a number as the channel")
    if data["provoked"] not in PROVOKED:
        raise ValueError(data["provoked"])
    instrument = InstrumentModel(who["maker"], who["model"], who["version"])
    return Proof(instrument, channel, data["provoked"], **{name: data[name] for name in texts})
