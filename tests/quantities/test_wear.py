"""Wear round the clock, the track against the nose: fits, what too few readings cannot tell, truth tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from diagnose.quantities import wear

TWELVE = [30.0 * k for k in range(12)]
EIGHT = [45.0 * k for k in range(8)]
ONE_LOBE = [120, 135, 140, 135, 120, 100, 80, 65, 60, 65, 80, 100]
TWO_LOBES = [100, 126, 126, 100, 74, 74, 100, 126, 126, 100, 74, 74]
MIXED = [110, 143, 146, 117, 84, 74, 90, 109, 106, 83, 64, 74]
DEPTHS = st.lists(st.floats(0, 200), min_size=12, max_size=12)


def ring(*lobes, mean=100.0, at=TWELVE):
    """Depths with (order, amplitude, crest in degrees)."""
    return [mean + sum(a * math.cos(n * math.radians(d - c)) for n, a, c in lobes) for d in at]


# ---- the fit ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("depths", "one", "two", "crest_one", "crest_two"),
    [(ONE_LOBE, 40.2, 0.0, 60, None), (TWO_LOBES, 0.0, 30.0, None, 45), (MIXED, 19.8, 30.0, 60, 45)],
)
def test_worked_depths(depths, one, two, crest_one, crest_two):
    """Twelve depths worked by hand (arithmetic): means, amplitudes, crests."""
    fit = wear.harmonics(TWELVE, depths, (1, 2))
    assert fit.mean == pytest.approx(100, abs=0.05)
    assert fit.harmonics[1].amplitude == pytest.approx(one, abs=0.05)
    assert fit.harmonics[2].amplitude == pytest.approx(two, abs=0.05)
    for order, crest in ((1, crest_one), (2, crest_two)):
        if crest is not None:
            assert fit.harmonics[order].crest == pytest.approx(crest, abs=0.5)


@given(DEPTHS)
def test_even_spacing_gives_the_fourier_transform(depths):
    """numpy.fft over twelve even stations."""
    spectrum = np.fft.rfft(depths)
    fit = wear.harmonics(TWELVE, depths, (1, 2, 3, 4, 5))
    assert fit.mean == pytest.approx(spectrum[0].real / 12, abs=1e-9)
    for n, found in fit.harmonics.items():
        assert found.amplitude == pytest.approx(2 / 12 * abs(spectrum[n]), abs=1e-6)


@given(DEPTHS, st.lists(st.floats(-6, 6), min_size=12, max_size=12))
def test_uneven_spacing_gives_scipys_least_squares(depths, off):
    from scipy.linalg import lstsq

    at = [d + o for d, o in zip(TWELVE, off, strict=True)]
    t = np.radians(at)
    design = np.stack([np.ones(12), np.cos(t), np.sin(t), np.cos(2 * t), np.sin(2 * t)], axis=1)
    solved = lstsq(design, np.asarray(depths))[0]
    fit = wear.harmonics(at, depths, (1, 2))
    assert fit.mean == pytest.approx(solved[0], abs=1e-6)
    assert fit.harmonics[1].amplitude == pytest.approx(math.hypot(*solved[1:3]), abs=1e-6)
    assert fit.harmonics[2].amplitude == pytest.approx(math.hypot(*solved[3:5]), abs=1e-6)


@given(st.floats(5, 50), st.floats(0, 359), st.floats(5, 50), st.floats(0, 179), st.floats(0, 359))
def test_turning_the_index_turns_the_crests(a1, c1, a2, c2, turn):
    depths = ring((1, a1, c1), (2, a2, c2))
    before, after = wear.harmonics(TWELVE, depths, (1, 2)), wear.harmonics([d - turn for d in TWELVE], depths, (1, 2))
    for n in (1, 2):
        assert after.harmonics[n].amplitude == pytest.approx(before.harmonics[n].amplitude, abs=1e-6)
        moved = (before.harmonics[n].crest - turn - after.harmonics[n].crest) * n
        assert math.cos(math.radians(moved)) == pytest.approx(1, abs=1e-6)


@given(st.floats(5, 50), st.floats(0, 359))
def test_the_other_end_mirrors_the_crest(amplitude, crest):
    depths = ring((1, amplitude, crest))
    seen = wear.harmonics([-d % 360 for d in TWELVE], depths, (1,))
    assert math.cos(math.radians(seen.harmonics[1].crest + crest)) == pytest.approx(1, abs=1e-6)


@given(DEPTHS, st.floats(0.001, 1000))
def test_the_unit_of_depth_does_not_matter(depths, factor):
    plain, scaled = (wear.harmonics(TWELVE, [f * d for d in depths], (1, 2)) for f in (1.0, factor))
    for n in (1, 2):
        assert scaled.harmonics[n].amplitude == pytest.approx(
            factor * plain.harmonics[n].amplitude, rel=1e-6, abs=factor * 1e-6
        )


def test_uncertainty_comes_from_the_residual_and_covers_the_truth():
    """Over 400 noisy rings the interval of twice the standard uncertainty holds the true amplitude in about 95 of 100."""
    random = np.random.default_rng(7)
    hits = 0
    for _ in range(400):
        depths = np.array(ring((1, 20, 60))) + random.normal(0, 2, 12)
        found = wear.harmonics(TWELVE, depths, (1, 2)).harmonics[1]
        hits += abs(found.amplitude - 20) <= found.half_width
    assert 0.87 <= hits / 400 <= 0.99
    exact = wear.harmonics(TWELVE, ring((1, 20, 60)), (1,)).harmonics[1]
    assert exact.half_width == pytest.approx(0, abs=1e-9)
    assert wear.harmonics(TWELVE, ring((1, 20, 60)), (1,), repeatability=2.0).harmonics[1].half_width == pytest.approx(
        4 / math.sqrt(6)
    )


# ---- sampling -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("stations", "lobes"), [(3, 0), (4, 1), (5, 1), (6, 2), (8, 3), (12, 5), (18, 8)])
def test_stations_resolve_fewer_than_half_as_many_lobes(stations, lobes):
    assert wear.most_lobes(stations) == lobes
    assert lobes < stations / 2
    at = [360 / stations * k for k in range(stations)]
    with pytest.raises(ValueError, match="cannot tell"):
        wear.harmonics(at, [1.0] * stations, (lobes + 1,))


@pytest.mark.parametrize(
    ("lobes", "stations", "like"), [(6, 8, 2), (8, 8, 0), (7, 8, 1), (6, 12, 6), (8, 18, 8), (10, 12, 2)]
)
def test_too_few_stations_make_lobes_look_like_fewer(lobes, stations, like):
    """Sampling theorem: with eight stations six lobes look like two and eight look uniform."""
    assert wear.looks_like(lobes, stations) == like
    at = [360 / stations * k for k in range(stations)]
    depths = ring((lobes, 10, 0), at=at)
    seen = ring((like, 10, 0), at=at) if like else [110.0] * stations
    assert depths == pytest.approx(seen)


def test_stations_on_one_side_are_refused():
    with pytest.raises(ValueError, match="unevenly"):
        wear.harmonics([0, 5, 10, 15, 20, 25, 30, 35], [1, 2, 3, 4, 5, 6, 7, 8], (1, 2))


FACE = """
seal: {{gland bolts: {bolts} bolts}}
parts:
  - {{item: 1, kind: mating ring, index: top dead centre, seen from: driver end}}
measurements:
  - {{part: 1, measured: wear depth, unit: µm, readings: {depths}, at: {at}, resolution: {resolution}}}
"""


def face(depths, at=TWELVE, bolts=4, resolution="1 µm"):
    shown = [round(d, 3) for d in depths]
    return FACE.format(depths=shown, at="[" + ", ".join(f"{a}°" for a in at) + "]", bolts=bolts, resolution=resolution)


def test_lobes_of_a_case(quantities_of):
    found = quantities_of(face(ONE_LOBE))
    assert found["wear one lobe"].value == pytest.approx(40.2e-6, abs=0.05e-6)
    assert found["wear one lobe"].group == "stationary"
    assert math.degrees(found["wear one lobe angle"].value) == pytest.approx(60, abs=0.5)
    assert "deepest at 60°" in " ".join(found["wear one lobe"].notes)
    assert found["wear two lobes"].low == 0
    assert found["wear bolt lobes"].high < 5e-6


def test_an_amplitude_under_three_times_the_repeatability_is_not_told_from_noise(quantities_of):
    found = quantities_of(face(ring((1, 5, 0)), resolution="4 µm"))["wear one lobe"]  # repeatability 2 µm
    assert (found.low, found.high) == (0.0, pytest.approx(6e-6, rel=0.2))
    assert any("noise" in n for n in found.notes)
    assert quantities_of(face(ring((1, 8, 0)), resolution="4 µm"))["wear one lobe"].low > 0


@pytest.mark.parametrize("bolts", [6, 8])
def test_eight_stations_warn_of_six_or_eight_bolts(quantities_of, bolts):
    found = quantities_of(face(ring((2, 20, 30), at=EIGHT), at=EIGHT, bolts=bolts))
    said = found["wear bolt lobes"].problem
    assert f"cannot tell {bolts} lobes" in said and f"at least {2 * bolts + 2}" in said
    warned = " ".join(found["wear two lobes"].notes)
    assert f"{bolts} gland bolts would" in warned and f"take {2 * bolts + 2} stations" in warned


def test_eighteen_stations_tell_eight_bolts(quantities_of):
    at = [20.0 * k for k in range(18)]
    found = quantities_of(face(ring((8, 12, 10), at=at), at=at, bolts=8))
    assert found["wear bolt lobes"].value == pytest.approx(12e-6, rel=0.01)


def test_three_stations_tell_no_lobe_but_a_mean(quantities_of):
    found = quantities_of(face([10, 20, 30], at=[0, 120, 240]))
    assert "at least 4 are needed" in found["wear one lobe"].problem
    assert found["wear mean"].value == pytest.approx(20e-6)


def test_readings_without_clock_positions_say_so(quantities_of):
    text = "measurements: [{on: mating ring, measured: wear depth, unit: µm, readings: [10, 20, 30, 40]}]"
    assert "clock positions" in quantities_of(text)["wear one lobe"].problem


# ---- across the face ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("outer", "inner", "edge"),
    [
        ("8 µm", "2 µm", "outer edge"),
        ("2 µm", "8 µm", "inner edge"),
        ("5 µm", "5 µm", "none"),
        ("5.4 µm", "5 µm", "none"),
    ],
)
def test_contact_edge_is_the_edge_worn_deeper(quantities_of, outer, inner, edge):
    text = f"""
measurements:
  - {{on: mating ring, measured: outer edge wear depth, reading: {outer}, resolution: 1 µm}}
  - {{on: mating ring, measured: inner edge wear depth, reading: {inner}, resolution: 1 µm}}
"""
    found = quantities_of(text)
    assert found["contact edge"].word == edge
    assert found["taper"].value == pytest.approx(float(outer[:-3]) * 1e-6 - float(inner[:-3]) * 1e-6)


# ---- the track ----------------------------------------------------------------------------------------------

# nose on, e or d, track width, shift: what the wider ring shows (kinematics; the excess is the radial travel)
TRACKS = [
    ("rotating", 5.0, 0.0, "runs true"),
    ("stationary", 5.0, 0.0, "runs true"),
    ("rotating", 5.6, 0.0, "rotating part runs off axis"),
    ("rotating", 5.0, 0.3, "stationary ring offset"),
    ("stationary", 5.6, 0.0, "stationary ring offset"),
    ("stationary", 5.0, 0.3, "rotating ring off axis"),
    ("rotating", 5.6, 0.3, "moves and is offset"),
    ("stationary", 5.6, 0.3, "moves and is offset"),
    ("rotating", 4.4, 0.0, "coned or distorted"),
    ("stationary", 4.4, 0.0, "coned or distorted"),
]
TRACK = """
parts:
  - {{item: 1, kind: face, group: {nose}, carries: nose, index: mark, seen from: {end}}}
  - {{item: 2, kind: face, group: {wide}, carries: wide, index: mark, seen from: {end}}}
measurements:
  - {{part: 1, measured: nose width, reading: 5.0 mm, resolution: 0.05 mm}}
  - {{part: 2, measured: track width, unit: mm, readings: [{width}, {width}, {width}, {width}], at: [12, 3, 6, 9], resolution: 0.05 mm}}
  - {{part: 2, measured: track margin, unit: mm, readings: {margins}, at: [12, 2, 4, 6, 8, 10], resolution: 0.05 mm}}
"""


@pytest.mark.parametrize("end", ["driver end", "impeller end"])
@pytest.mark.parametrize(("nose", "width", "shift", "said"), TRACKS)
def test_truth_table_of_tracks(quantities_of, nose, width, shift, said, end):
    margins = [round(3 + shift * math.cos(math.radians(60 * k)), 3) for k in range(6)]
    wide = {"rotating": "stationary", "stationary": "rotating"}[nose]
    found = quantities_of(TRACK.format(nose=nose, wide=wide, width=width, margins=margins, end=end))
    assert found["track reading"].word == said
    assert found["track excess"].value == pytest.approx((width - 5.0) / 1e3, abs=1e-9)
    assert found["track offset"].value == pytest.approx(shift / 1e3, abs=1e-6)


def test_a_track_is_not_read_without_the_side_of_the_nose(quantities_of):
    text = """
measurements:
  - {on: hard face, measured: nose width, reading: 5.0 mm}
  - {on: soft face, measured: track width, reading: 5.6 mm}
"""
    found = quantities_of(text)
    assert found["track excess"].value == pytest.approx(0.6e-3)
    assert found["track reading"].word == ""
    assert "which ring carries the nose is not on record" in found["track reading"].problem
    same_ring = quantities_of(text.replace("soft face", "hard face"))
    assert "which ring carries the nose is not on record" in same_ring["track excess"].problem


def test_a_track_as_wide_as_the_nose_is_undecided_until_its_shift_is_on_record(quantities_of):
    text = TRACK.format(nose="rotating", wide="stationary", width=5.0, margins=[3] * 6, end="driver end")
    text = "\n".join(line for line in text.splitlines() if "margin" not in line)
    assert "shift" in quantities_of(text)["track reading"].problem


def test_a_wide_track_warns_of_whirl(quantities_of):
    text = TRACK.format(nose="rotating", wide="stationary", width=5.6, margins=[3] * 6, end="driver end")
    assert any("whirl" in n for n in quantities_of(text)["track reading"].notes)
