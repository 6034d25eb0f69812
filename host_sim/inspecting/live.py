"""`treadle inspect --live`: a guided capture from a board, and its findings."""

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

from firmware.settings import A_LEADS, B_LEADS
from host_sim.capture.advice import advice_of
from host_sim.capture.as_json import findings_json, verdict_json
from host_sim.capture.diagnose import KINDS
from host_sim.capture.edges import EdgeChunk
from host_sim.capture.live.findings import GuidedFindings, against_board, guided_findings
from host_sim.capture.live.guide import Edge, Guide, Item, Lost, Moment
from host_sim.capture.stopping import Support
from host_sim.capture.writers import CaptureWriter
from host_sim.inspecting.asked import FIGURE, FINDINGS, write_findings
from host_sim.inspecting.crank import support_with
from host_sim.outputs import Delivery, fresh_folder

if TYPE_CHECKING:
    from host_sim.boardlink.console_client import BytePort

CAPTURE = "capture.csv"
FILES = (FIGURE, FINDINGS, CAPTURE)
SILENT_S = 10.0  # After this time without a step from the board the link is lost.


class LiveResult:
    """The result of a guided capture. `support` is None if the ring is unknown."""

    def __init__(
        self, guided: GuidedFindings, guide: Guide, settings: dict[str, int], support: Support | None
    ) -> None:
        """Combine the findings of the turns, the ring and the board's settings."""
        found = guided.inspection
        why, advice = against_board(found, settings)
        self.guided = guided
        self.guide = guide
        self.support = support
        self.inspection = found
        said = [*advice_of(found, support, any_cadence=False), *where_to_look(guided)]
        self.advice = [*guided.advice, *said, *advice]
        self.why = [*guided.why, *found.why, *why]
        self.files: list[Path] = []
        self.settings = settings_that_follow(guided)
        self.as_json: dict[str, Any] = (
            findings_json(found, self.advice) | verdict_json(found, self.why) | {"guided": self._guided()}
        )

    @property
    def fit(self) -> bool:
        """Whether the sensor is fit for use with the board's present settings."""
        return not self.why

    def _guided(self) -> dict[str, Any]:
        arm = self.guided.arm
        return {
            "edges": len(self.guide.edges),
            "losses": self.guide.losses,
            "lost_steps": self.guide.lost,
            "turns_back": None if self.guided.back_turns is None else round(self.guided.back_turns, 2),
            "magnet_1_deg": None if arm is None else round(arm.degrees, 1),
            "magnet_1_within_deg": None if arm is None else round(arm.within_deg, 1),
            "settings": self.settings,
        }


def where_to_look(guided: GuidedFindings) -> list[str]:
    """Return at which angles from the left arm straight down the faulty magnets pass."""
    arm, found = guided.arm, guided.inspection
    if arm is None or found.ring is None:
        return []
    numbers = sorted({*(found.missing.value or []), *(found.weak.value or [])} | {1})
    if numbers == [1]:
        return []
    places = [
        f"magnet {number} at {(arm.degrees + (number - 1) * 360.0 / found.ring.pulses) % 360.0:.0f}°"
        for number in numbers
    ]
    return [
        f"to find them, turn the crank forward from the left arm straight down until the pickup switches: "
        f"{', '.join(places)} (within {arm.within_deg:.0f}°)"
    ]


def settings_that_follow(guided: GuidedFindings) -> dict[str, int]:
    """Return the board settings that follow from the certain findings."""
    found = guided.inspection
    settings: dict[str, int] = {}
    if found.kind.sure and found.kind.value:
        settings["sensor_kind"] = KINDS[found.kind.value]
    if found.pulses.sure and found.pulses.value:
        settings["pulses_per_rev"] = found.pulses.value
    if found.kind.value == "two channels" and found.lead.sure:
        settings["lead"] = A_LEADS if found.lead.value == "A" else B_LEADS
    return settings


def items_of(
    port: "BytePort",
    from_oldest: bool = False,
    clock_s: Callable[[], float] | None = None,
) -> Iterator[Item]:
    """Yield edges, moments and losses of a board as they arrive; BoardTrouble if it stops sending.

    `from_oldest`: begin with the oldest steps that the board still stores; a desk with --hurry has already
    ridden.
    """
    import time

    from host_sim.boardlink.console_client import BoardRefusal, BoardSilent
    from host_sim.boardlink.live_steps import LiveSteps, SecondsSince
    from host_sim.boardlink.recorded import Loss, crank_edges
    from host_sim.watching.workshop import BoardTrouble

    clock = clock_s or time.monotonic
    try:
        live = LiveSteps(port, from_oldest)
    except (BoardRefusal, BoardSilent) as error:
        raise BoardTrouble(f"the board does not stream its edges: {error}") from None
    since = SecondsSince()
    lost_edges: int | None = None
    heard_s = clock()
    while True:
        try:
            found = live.read()
        except (BoardRefusal, BoardSilent, OSError) as error:
            raise BoardTrouble(f"the board is disconnected, plug it in and begin again: {error}") from None
        if found:
            heard_s = clock()
        elif clock() - heard_s > SILENT_S:
            raise BoardTrouble(
                f"the board has sent nothing for {SILENT_S:.0f} s: check its plug and begin again"
            )
        for item in found:
            if isinstance(item, Loss):
                yield Lost(item.steps)
                continue
            if lost_edges is not None and item.lost_edges != lost_edges:
                yield Lost(0)
            lost_edges = item.lost_edges
            # Edges come before their step, in order of time.
            for edge in crank_edges(item):
                yield Edge(since.seconds(edge.time_us), edge.levels)
            yield Moment(since.seconds(item.now_us))


def guided_capture(items: Iterator[Item], show: Callable[[Guide, bool], None]) -> Guide:
    """Guide the user through the turns; `show` gets the guide and whether its stage changed."""
    guide = Guide()
    show(guide, True)
    for item in items:
        changed = guide.take(item)
        show(guide, changed)
        if guide.over:
            break
    return guide


def inspect_live(
    items: Iterator[Item],
    settings: dict[str, int],
    out: Path | None,
    force: bool,
    show: Callable[[Guide, bool], None],
) -> LiveResult:
    """Capture, evaluate, draw, and save the capture as a file that `treadle inspect` reads."""
    with Delivery(out or fresh_folder("treadle-inspect"), FILES, force) as delivery:
        guide = guided_capture(items, show)
        guided = guided_findings(guide, settings.get("sensor_kind") != KINDS["two channels"])
        result = LiveResult(guided, guide, settings, support_with(guided.inspection, settings))
        _draw(result, delivery.place(FIGURE))
        write_findings(delivery, result.as_json)
        _write(guided.whole, delivery.place(CAPTURE))
        result.files = delivery.deliver()
    return result


def _draw(result: LiveResult, path: Path) -> None:
    # Not at the top: drawing takes a second to load.
    from host_sim.report.ring_figure import draw_inspection

    title = "live capture"
    arm = result.guided.arm
    if arm is not None:
        title += f", magnet 1 is {arm.degrees:.0f}° after the left arm straight down"
    draw_inspection(result.inspection, result.support, result.advice, title, path, None, result.why)


def _write(chunk: EdgeChunk, path: Path) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = CaptureWriter(file, path.suffix, int(chunk.levels[0]))
        for time_ns, levels in zip(chunk.times_ns[1:].tolist(), chunk.levels[1:].tolist(), strict=True):
            writer.edge(time_ns // 1000, levels)
        writer.end(int(chunk.times_ns[-1]) // 1000)
