"""What each event of the daemon means in a sentence. A test compares the table with what the daemon logs."""

from __future__ import annotations

from collections.abc import Mapping

SENTENCES = {
    # the daemon itself
    "started": "The daemon runs for car {car}, with buses {buses}",
    "reloaded": "The description of car {car} was read again; tried beside it are {beside} frames",
    "not_reloaded": "The description was not taken up, the one before it goes on: {text}",
    "plugin": "Plug-in {name} {version} runs",
    "plugin_refused": "Plug-in {plugin} is refused: {reason}. Do: {hint}",
    "plugin_failed": "Plug-in {plugin} failed: {error}",
    "plugin_suspended": "Plug-in {plugin} is suspended until the next start: {reason}",
    "derived signal failed": "Plug-in {plugin} could not compute {signal}: {error}",
    "problem": "Something is doubtful: {text}",
    "no_socket": "Other commands cannot ask this daemon: {error}",
    "tick_failed": "A step of the daemon failed; it goes on",
    "stands_still": "No progress any more: {parts}. The watchdog ends the daemon unless that changes",
    "ended_badly": "The daemon before this one ended badly: {how}",
    "ends_badly": "The daemon ends badly: {how}",
    "safe_mode": "Safe mode: {text}",
    "goes_without": "It goes on without: {text}",
    "memory_grows": "The daemon {text}",
    "no_ledger": "How the daemon ends cannot be kept: {error}",
    "left_out": "{count} more of this event were left out: {of}",
    # buses
    "bus_state": "Bus {role} is {now}; before it was {before}",
    "bus_failed": "Bus {role} failed: {error}",
    "bus_opening_failed": "Bus {role} could not be opened",
    "bus_closing_failed": "Bus {role} could not be closed in order",
    "frame_handler_failed": "A frame from {interface} could not be dealt with",
    "reading_failed": "A CAN interface cannot be read: {error}",
    "closing_failed": "{interface} could not be closed in order: {error}",
    "filters_refused": "{interface} takes no filters, so every frame is looked at here: {error}",
    "reader_still_running": "What reads {interface} did not end in time",
    "interface_switched": "The interface of bus {role} was switched: {mode}",
    "interface_not_switched": "The interface of bus {role} could not be switched: {error}",
    # asking
    "asking": "Asking: {text}",
    "quiet": "Quiet: {text}",
    "attended": "Somebody vouches for the car: {text}",
    "choice_refused": "{signal} was not set to {value}: {why}",
    # inputs
    "ignition_doubted": "The ignition's wire: {text}",
    "input_trouble": "Input {input}: {text}",
    "input_is_back": "Input {input} is read again",
    # panels and pages
    "panel_not_opened": "A panel could not be opened; it is tried again: {error}",
    "panel_not_closed": "Panel {panel} could not be closed in order: {error}",
    "panel_failed": "A panel does not take pictures; it is begun anew: {error}",
    "panel_hangs": "A panel has not taken a picture for long: its thread hangs",
    "display_fault": "Panel {panel}, page {page}: {sentence}",
    "page_failed": "Page {page} could not be drawn: {error}",
    "page_not_shown": "Page {page} cannot be shown: {error}",
    "page_late_error_stray": "A page's time limit came too late and was caught",
    "renderer_failed": "Drawing failed on page {page}: {error}",
    "renderer_hangs": "Drawing for panel {panel} hangs",
    "cold_form": "Panel {panel}: drawn for the cold: {on}, decided by {decided_by}",
    "alert": "Alert {alert}: {text}",
    "picture_not_kept": "The picture {path} could not be written: {error}",
    # buttons
    "action": "{gesture} on {button}: {action}",
    "action_held_back": "{action} by button {button} was held back: {why}",
    "button_handler_failed": "Plug-in {plugin} could not deal with a button: {error}",
    "peak_not_held": "Plug-in {plugin} asked to reset the peak of {signal}, which nobody holds. Do: {remedy}",
    # power, and what is kept
    "power": "Power: {state}; {ignition}",
    "power_effect": "Power: {effect}",
    "power_off_left_out": "The machine is not switched off ({verb}): {why}",
    "power_off_failed": "The machine could not be switched off ({verb}): {error}. Do: {next}",
    "power_off_turned_round": "The key is back while the machine goes off: it is started again instead",
    "supply_held": "The supply is held by line {line}",
    "supply_not_held": "The supply is not held, it ends with the key: {error}",
    "supply_not_let_go": "The line that holds the supply could not be let go: {error}",
    "board": "The board: {text}",
    "machine_not_read": "What the machine says of itself cannot be read: {error}",
    "state_not_kept": "What was learned could not be written to {path}: {error}",
    "state_unreadable": "What was learned before cannot be read from {path}, so it is learned anew: {error}",
    "flush_not_finished": "Not everything is on the disk yet: {why}",
    "recording_ended": "Recording ended: {error}",
    "recording_not_finished": "The last of the recording is missing: {why}",
    # those who ask the daemon
    "control_client_dropped": "A command that asked the daemon was dropped: {why}",
    "control_not_accepted": "A command could not reach the daemon: {error}",
    "control_answer_not_spelt": "An answer to a command could not be written: {error}",
    "control_request_failed": "A command's request failed: {ask}",
    "control_end_failed": "A command's request did not end in order: {ask}",
}  # fmt: skip
"""By event. Words in braces are the event's facts."""


class _Facts(dict[str, str]):
    def __missing__(self, key: str) -> str:
        return "?"


def sentence(event: Mapping[str, str]) -> str | None:
    """Return what an event means; None where the table has none for it.

    Args:
        event: its facts, and its name as ``event``.
    """
    template = SENTENCES.get(event.get("event", ""))
    if template is None:
        return None
    text = template.format_map(_Facts(event))
    last = event.get("exception", "").strip().rpartition("\n")[2].strip()
    text = text.removesuffix(". Do: ")  # where there is nothing to do
    return f"{text} ({last})" if last else text
