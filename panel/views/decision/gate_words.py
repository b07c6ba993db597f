"""What the gates of a decision are called on a screen."""

from __future__ import annotations

from types import MappingProxyType

from panel.models.decision.gate_limits import COST, FREE_OF, PH, SHARES, SOLID, STABILITY, VISCOSITY, VOLATILE

_NAMES = MappingProxyType(
    {
        PH: "pH",
        VISCOSITY: "viscosity (mPa s)",
        SOLID: "solid share of the emollients",
        VOLATILE: "volatile share of the emollients",
        COST: "cost of the emollients in 100 units of formula",
        STABILITY: "stability",
    }
)
_DIGITS = MappingProxyType({PH: 2, VISCOSITY: 0, SOLID: 0, VOLATILE: 0, COST: 2})


def gate_name(gate: str) -> str:
    """Return what a gate is called."""
    if gate.startswith(f"{FREE_OF} "):
        return f"free of {gate.removeprefix(f'{FREE_OF} ')}"
    return _NAMES.get(gate, gate)


def gate_unit(gate: str) -> tuple[float, int, str]:
    """Return the factor, the decimals and the sign behind a value of a gate."""
    return (100.0, 0, " %") if gate in SHARES else (1.0, _DIGITS.get(gate, 2), "")
