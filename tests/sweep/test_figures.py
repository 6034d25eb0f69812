"""Figures of a sweep: what moves is drawn, what does not is said to be flat, and words are free of lines."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from host_sim.sweeping.figures import COLOURS, cells, heat_figure, heat_map_possible
from host_sim.sweeping.metrics import LESS, MORE
from host_sim.sweeping.numbers import flat
from host_sim.sweeping.panels import panels, still, still_words, worst_last
from host_sim.sweeping.points import known_keys, with_values
from host_sim.sweeping.points_beside import REPEATS, own_value
from host_sim.sweeping.slices import slices_figure
from host_sim.sweeping.words import sentence_of, short_name, unit_of
from tests.sweep.made_up import numbers_of, sweep_of

RISE, ENGAGE = "settings.rise_mv_per_s", "settings.engage_rpm"


def measured(values, random):
    """The jerk follows the rise, the stop time is noise, the surge hardly differs."""
    return {
        "jerk_m_per_s3": values[RISE] / 4000.0,
        "stop_time_s": 0.1 + random.uniform(0.0, 0.05),
        "surge_percent": 0.9 + 0.001 * values[ENGAGE] / 45.0,
        "distance_m": 200.0 - values[ENGAGE],
    }


@pytest.fixture(scope="module")
def numbers():
    return numbers_of(sweep_of(), measured)


def test_what_moves_by_more_than_its_noise_is_drawn_and_the_rest_said_to_be_flat(numbers):
    assert [panel.name for panel in panels(numbers, ())] == ["jerk_m_per_s3", "distance_m"]
    assert "stop_time_s" in [panel.name for panel in still(numbers)]
    assert still_words(numbers).startswith("Flat, within noise or 1 %: ")
    assert "stop time 0.1" in still_words(numbers)


@pytest.mark.parametrize("seed", range(20))
def test_pure_noise_is_flat_however_many_points_there_are(seed):
    noise = numbers_of(
        sweep_of(("rise_mv_per_s=200:4000:30", "engage_rpm=15:45:10")),
        lambda values, random: {
            "stop_time_s": 0.1 + 0.02 * type(random)(f"{seed} {random.random()}").gauss(0.0, 1.0)
        },
    )
    assert not noise.moves("stop_time_s")


def test_a_trend_of_three_times_the_noise_moves():
    trend = numbers_of(
        sweep_of(),
        lambda values, random: {
            "stop_time_s": 0.1 + 0.03 * values[RISE] / 4000.0 + random.uniform(0.0, 0.01)
        },
    )
    assert trend.moves("stop_time_s")


def test_a_line_of_noise_is_flat_and_a_slope_is_not():
    assert flat(np.array([1.00, 1.05, 0.98]), noise=0.1)
    assert not flat(np.array([1.0, 1.1, 1.4]), noise=0.1)
    assert flat(np.array([100.0, 100.9]), noise=0.0)
    assert not flat(np.array([100.0, 101.2]), noise=0.0)


def test_the_worst_is_what_is_left_of_a_cell_in_either_direction():
    values = np.array([3.0, 1.0, 2.0])
    assert values[worst_last(values, LESS)][-1] == 3.0
    assert values[worst_last(values, MORE)][-1] == 1.0


def test_bright_is_good_in_both_directions(numbers):
    assert COLOURS == {LESS: "viridis_r", MORE: "viridis"}
    figure = heat_figure(numbers, ())
    maps = [axes.collections[0].get_cmap().name for axes in figure.axes if len(axes.collections) == 1]
    assert maps[:2] == ["viridis_r", "viridis"]
    words = [
        (axes.get_title(), axes.get_xlabel()) for axes in figure.axes if axes.get_label() == "<colorbar>"
    ]
    assert words == [("worse", "better"), ("better", "worse")]


def test_the_bike_itself_is_ridden_and_each_key_alone_from_it():
    sweep = sweep_of()
    repeats, alone = sweep.beside[:REPEATS], sweep.beside[REPEATS:]
    assert {tuple(one.values) for one in repeats} == {()}
    assert len({(one.seed, one.shift) for one in repeats}) == REPEATS
    assert {tuple(one.values) for one in alone} == {(RISE,), (ENGAGE,)}
    # Neither value is one of the grid's: 200 to 4000 in steps of 475, 15 to 45 in steps of 6.
    assert (own_value(sweep.bike, RISE), own_value(sweep.bike, ENGAGE)) == (600.0, 20.0)
    assert [one.values[ENGAGE] for one in alone if ENGAGE in one.values] == [15, 20, 21, 27, 33, 39, 45]
    first = sweep.points.count + REPEATS
    cells_of = dict(zip(sweep.columns(), sweep.row(first).split(","), strict=True))
    assert (cells_of[RISE], cells_of[ENGAGE]) == ("200", "20")


def test_slices_have_the_bike_itself_where_it_is_and_no_words_inside(numbers):
    figure = slices_figure(numbers, ())
    assert len(figure.axes) == 2 * 6
    for axes in figure.axes:
        assert len(axes.texts) == 0
    marked = [container.lines[0].get_xydata()[0] for container in figure.axes[0].containers]
    assert marked == [pytest.approx([600.0, 600.0 / 4000.0])]
    assert figure.axes[-2].get_xlabel() == "fastest rise of the command (mV/s)"


@pytest.mark.parametrize("draw", [slices_figure, heat_figure])
def test_no_words_lie_outside_of_the_picture(numbers, draw):
    figure = draw(numbers, ())
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    boxes = []
    for axes in figure.axes:
        for words in (
            axes.title,
            axes.xaxis.label,
            axes.yaxis.label,
            *axes.get_xticklabels(),
            *axes.get_yticklabels(),
        ):
            inside = axes.xaxis.get_view_interval() if words in axes.get_xticklabels() else None
            if (
                words.get_text()
                and words.get_visible()
                and (inside is None or inside[0] <= words.get_position()[0] <= inside[1])
            ):
                boxes.append((words.get_text(), words.get_window_extent(renderer)))
    for text, box in boxes:
        assert min(box.x0, box.y0) >= -1, text
        assert max(box.x1 - figure.bbox.x1, box.y1 - figure.bbox.y1) <= 1, text


def test_every_key_of_a_bike_has_words():
    for key in known_keys():
        assert "_" not in sentence_of(key), key
        assert "_" not in short_name(key)
    assert unit_of("settings.rise_mv_per_s") == "mV/s"
    assert unit_of("bicycle.drag_area_m2") == "m²"
    assert unit_of("settings.wheel_pulses_per_rev") == ""
    assert short_name("settings.stop_pitch_percent") == "stop pitch"
    assert sentence_of("bicycle.rider_kg") == "Mass of the rider with clothes"


def test_one_key_has_no_heat_map():
    assert not heat_map_possible(
        numbers_of(sweep_of(("rise_mv_per_s=200:4000:9",)), lambda v, r: {"engage_s": v[RISE]})
    )
    edges, cell = cells(np.array([1.0, 1.0]), True)
    assert list(cell) == [0, 0]
    assert len(edges) == 2


def test_a_limit_is_drawn_and_broken_points_are_marked():
    sweep = sweep_of(rules=("surge",))

    def found(values, random):
        worst = values[RISE] / 200.0
        return {"worst_surge": worst, "margin_surge": 15.0 - worst}

    numbers = numbers_of(sweep, found)
    [panel] = panels(numbers, ("surge",))
    assert panel.limit(numbers) == pytest.approx(15.0)
    figure = heat_figure(numbers, ("surge",))
    assert figure.axes[0].get_title() == "rule: surge, limit 15 (red x: it fails)"
    # 3050, 3525 and 4000 mV/s: three of nine columns in each of six rows; 3050 gives 15.25.
    assert len(figure.axes[0].lines[0].get_xdata()) == 3 * 6
    assert with_values(sweep.bike, {RISE: 200.0}).firmware_settings.rise_mv_per_s == 200
