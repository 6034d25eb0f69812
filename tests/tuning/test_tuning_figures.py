"""No words of a figure cover others or leave it, also with the longest title a bike file may have."""

from dataclasses import replace
from itertools import combinations

import matplotlib.pyplot as plt
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from host_sim.bikes.load import load_bike
from host_sim.report.label_places import Label, label_level, label_points
from host_sim.report.tuning_figures import draw_rates, draw_thresholds
from host_sim.report.tuning_loop_figures import draw_loop
from host_sim.report.tuning_rides_figure import draw_rides
from host_sim.report.tuning_trade_figure import draw_trade
from host_sim.tuning.apart import tune_apart
from host_sim.tuning.score import PRIORITIES

LONGEST = ("The longest title that a bike file may have, of a bicycle in the café's loft " * 2)[:100]


def written(figure: Figure) -> list[Text]:
    """Return all words that are drawn; ticks beyond the limits of an axis are placed, but not drawn."""
    found = [text for text in figure.findobj(Text) if text.get_visible() and text.get_text().strip()]
    axes = [axis for one in figure.axes for axis in (one.xaxis, one.yaxis)]
    ticks = {
        label for axis in axes for tick in axis.get_major_ticks() for label in (tick.label1, tick.label2)
    }
    inside = {
        label
        for axis in axes
        for tick in axis.get_major_ticks()
        for label in (tick.label1, tick.label2)
        if min(axis.get_view_interval()) <= tick.get_loc() <= max(axis.get_view_interval())
    }
    return [text for text in found if text not in ticks or text in inside]


def collisions(figure: Figure) -> list[str]:
    """Return what covers what, and what leaves the figure."""
    boxes = {text: text.get_window_extent() for text in written(figure)}
    found = [
        f"{one.get_text()!r} covers {two.get_text()!r}"
        for one, two in combinations(boxes, 2)
        # A pixel of the frame of a letter is no collision.
        if boxes[one].padded(-1).overlaps(boxes[two].padded(-1))
    ]
    whole = figure.bbox.padded(1)
    found += [
        f"{text.get_text()!r} leaves the figure"
        for text, box in boxes.items()
        if not (whole.contains(box.x0, box.y0) and whole.contains(box.x1, box.y1))
    ]
    return found


@pytest.fixture
def saved(monkeypatch):
    """Collect the collisions of every figure when it is saved."""
    found: dict[str, list[str]] = {}
    save = Figure.savefig

    def look(self, path, **keys):
        self.set_dpi(keys["dpi"])
        self.draw_without_rendering()
        found[path.name] = collisions(self)
        save(self, path, **keys)

    monkeypatch.setattr(Figure, "savefig", look)
    return found


def drawn_all(tuned, folder) -> None:
    """Draw every figure of a recommendation, the title as long as it may be."""
    tuned = replace(tuned, bike=tuned.bike.model_copy(update={"title": LONGEST}))
    draw_thresholds(tuned, folder / "thresholds.png")
    draw_rates(tuned, folder / "rates.png")
    draw_trade(tuned, folder / "trade.png")
    draw_rides(tuned, folder / "rides.png")
    if tuned.loop is not None:
        draw_loop(tuned, folder / "loop.png")


@pytest.mark.long
def test_no_words_cover_others_in_any_figure_of_a_bicycle_without_a_power_loop(
    folding_tuned, saved, tmp_path
):
    drawn_all(folding_tuned, tmp_path)
    assert len(saved) == 4
    assert {name: found for name, found in saved.items() if found} == {}


@pytest.mark.long
def test_no_words_cover_others_with_a_power_loop_and_a_chosen_assist_power(saved, tmp_path):
    tuned = tune_apart(load_bike("cargo_trike"), PRIORITIES["range"], lambda stage, stages: None)
    drawn_all(tuned, tmp_path)
    assert len(saved) == 5
    assert {name: found for name, found in saved.items() if found} == {}


def test_a_collision_is_seen():
    figure, axes = plt.subplots()
    axes.text(0.5, 0.5, "first")
    axes.text(0.5, 0.5, "second")
    axes.text(0.98, 0.2, "out of the figure, all of it")
    figure.draw_without_rendering()
    assert [words for words in collisions(figure) if "'first'" in words or "leaves" in words] == [
        "'first' covers 'second'",
        "'out of the figure, all of it' leaves the figure",
    ]
    plt.close(figure)


def test_labels_of_a_crowd_of_points_on_a_line_cover_neither_each_other_nor_the_line():
    figure, axes = plt.subplots(figsize=(9.5, 6.4))
    xs = [0.79, 0.83, 0.84, 0.86, 0.95]
    ys = [1.23, 0.97, 0.95, 0.9, 0.86]
    (line,) = axes.plot(xs, ys)
    axes.set(xlim=(0.7, 1.4), ylim=(0.0, 1.7))
    names = ("quick", "balanced, chosen\nalso for hill", "calm, range", "learner", "now")
    label_points(
        axes, [Label(place, name, "k") for place, name in zip(zip(xs, ys, strict=True), names, strict=True)]
    )
    assert collisions(figure) == []
    path = line.get_transform().transform_path(line.get_path())
    assert not any(path.intersects_bbox(text.get_window_extent(), filled=False) for text in axes.texts)
    plt.close(figure)


def test_the_words_of_a_level_line_go_where_no_curve_runs():
    figure, axes = plt.subplots()
    (line,) = axes.plot([0.0, 1.0], [1.5, 0.9])
    axes.set(xlim=(0.0, 1.0), ylim=(0.0, 2.0))
    label_level(axes, "the limit of comfort", 1.0, "k")
    path = line.get_transform().transform_path(line.get_path())
    (text,) = axes.texts
    assert not path.intersects_bbox(text.get_window_extent(), filled=False)
    plt.close(figure)
