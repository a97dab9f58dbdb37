"""Limits in a record: the user's own sets, and who confirmed the published ones."""

from __future__ import annotations

from inspection.model.confirmation import Confirmation, check_confirmation
from inspection.model.serialization import JsonObject, from_dict, to_dict
from inspection.record.record import Record
from inspection.record.storage.events import Signed
from inspection.record.storage.schema import confirmations, own_limits


def keep_own_limits(
    record: Record, name: str, values: JsonObject, *, by: str, why: str = ""
) -> None:
    """Store a set of the user's own limits, {"rules": [...]}; a later change needs a `why`."""
    record.define(own_limits, "own limits", name, values, Signed(by, why))


def kept_own_limits(record: Record) -> dict[str, JsonObject]:
    """Return the user's own sets of limits by name; one without rules was withdrawn."""
    return record.definitions(own_limits)


def confirm_limits(record: Record, confirmation: Confirmation, *, by: str, why: str = "") -> None:
    """Record that a published set was compared with a copy; confirming again needs a `why`."""
    check_confirmation(confirmation)
    name, values = confirmation.rule_set, to_dict(confirmation)
    record.define(confirmations, "confirmation", name, values, Signed(by, why))


def limit_confirmations(record: Record) -> dict[str, Confirmation]:
    """Return who confirmed which set of limits, by the set's name."""
    kept = record.definitions(confirmations)
    return {name: from_dict(Confirmation, values) for name, values in kept.items()}
