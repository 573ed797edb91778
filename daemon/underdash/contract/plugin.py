"""What a plug-in says about itself."""

from __future__ import annotations

from dataclasses import dataclass

CONTRACT = 1
"""Version of the contract this core speaks; it only grows."""


@dataclass(frozen=True, slots=True)
class PluginInfo:
    """Who a plug-in is.

    Args:
        about: one line for lists.
        contract: contract version it was written for; a newer one than the core's is refused.
        settings: a dataclass whose fields are the keys of ``[plugin.<name>]``, or None if it has none.
    """

    about: str
    contract: int = CONTRACT
    settings: type | None = None
