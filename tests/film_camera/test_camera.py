"""The camera that films, held against outside definitions: OpenCV's projection, sums of light, decoded files."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from film_camera import Ambient, Branch, Camera, Car, Glass, Scene, Shoot, film, pictures, random_camera, random_scene
from film_camera.ambience import Surface
from film_camera.light import STEP, Lights
from film_camera.optics import matrix, pose, projected, seen
from film_camera.sensor import Sensor, noise_levels, tone
from film_camera.splats import halo, height, splat

SMALL = Camera(width=160, height=90, focal=120.0, position=(0.0, 0.0, 3.0))
ONE = np.zeros((1, 2))


def steady(*drive: float):
    """Levels that never change: one drive for all pixels and letters, or one for each pixel."""
    return lambda t: np.broadcast_to(np.array(drive, float)[None, :, None], (len(t), len(drive), 3))


def grid(wide: int, tall: int, pitch: float) -> NDArray:
    x, y = np.meshgrid((np.arange(wide) - (wide - 1) / 2) * pitch, (np.arange(tall) - (tall - 1) / 2) * pitch)
    return np.column_stack([x.ravel(), y.ravel()])


def linear(stored: NDArray) -> NDArray:
    """Stored levels back to light, by a search of the curve that this camera uses."""
    # Source: ITU-R BT.709-6, item 1.2
    value = np.asarray(stored, float) / 255
    return np.where(value < 0.081, value / 4.5, ((value + 0.099) / 1.099) ** (1 / 0.45))


@pytest.mark.parametrize("seed", range(5))
def test_places_in_the_picture_are_those_of_opencv(seed: int) -> None:
    # Judge: cv2.projectPoints
    rng = np.random.default_rng(seed)
    camera = Camera(
        position=tuple(rng.normal([0, 0, 8])), yaw=rng.normal() * 10, pitch=rng.normal() * 10,
        roll=rng.normal() * 20, rotation=int(rng.choice([0, 90, 180, 270])), distortion=(-0.05, 0.01), focal=1100.0,
    )  # fmt: skip
    points = rng.normal(size=(50, 3)) * [2, 2, 0.5]
    turned, shift = pose(camera)
    theirs, _ = cv2.projectPoints(
        points, cv2.Rodrigues(turned)[0], shift, matrix(camera), np.array([-0.05, 0.01, 0, 0])
    )
    np.testing.assert_allclose(projected(camera, seen(camera, points)), theirs[:, 0], atol=1e-6)


def test_a_camera_that_turns_right_up_or_clockwise_sees_the_scene_go_the_other_way() -> None:
    point = np.array([[0.0, 0.5, 0.0]])
    at = {way: projected(replace(SMALL, **{way: 2.0}), seen(replace(SMALL, **{way: 2.0}), point))[0]
          for way in ("yaw", "pitch", "roll")}  # fmt: skip
    still = projected(SMALL, seen(SMALL, point))[0]
    assert still[1] < (SMALL.height - 1) / 2, "y goes up in the scene, down in the picture"
    assert at["yaw"][0] < still[0] - 2
    assert at["pitch"][1] > still[1] + 2
    assert at["roll"][0] < still[0] - 0.5, "what is above goes to the left when the phone turns clockwise"


@pytest.mark.parametrize("sigma", [0.5, 0.8, 2.0])
def test_a_splat_keeps_its_light_and_its_middle_wherever_it_falls(sigma: float) -> None:
    for x, y in np.random.default_rng(1).uniform(20, 24, size=(25, 2)):
        board = np.zeros((45, 45, 3), np.float32)
        down, right, patch = splat((45, 45), np.array([[x, y]]), np.array([[1, 2, 3]], np.float32), sigma)
        board[down, right] = patch
        np.testing.assert_allclose(board.sum(axis=(0, 1)), [1, 2, 3], rtol=2e-3)
        rows, columns = np.mgrid[:45, :45]
        one = board[..., 0] / board[..., 0].sum()
        assert abs((one * columns).sum() - x) < 0.01
        assert abs((one * rows).sum() - y) < 0.01
        assert (one * (columns - x) ** 2).sum() == pytest.approx(sigma**2, rel=0.05)


def test_a_splat_at_the_edge_is_cut_off_there() -> None:
    down, right, patch = splat(
        (20, 20), np.array([[-0.5, 10.0], [90.0, 3.0], [np.nan, 1.0]]), np.ones((3, 3), np.float32), 0.7
    )
    assert patch.shape[:2] == (down.stop - down.start, right.stop - right.start)
    assert patch[..., 0].sum() == pytest.approx(0.5, abs=0.01)


def test_rows_read_before_a_pixel_switches_on_do_not_show_it() -> None:
    camera = replace(SMALL, readout=0.03, exposure=0.005, fps=30.0)
    column = np.column_stack([np.zeros(40), np.linspace(-1.05, 1.05, 40)])
    switch = 0.0175

    def levels(t: NDArray) -> NDArray:
        return np.broadcast_to(np.where(t > switch, 255, 0)[:, None, None], (len(t), 40, 3)).astype(np.uint8)

    frame = next(pictures(Scene(column), camera, levels, 0.04))
    at = projected(camera, seen(camera, Scene(column).points))
    for x, y in at:
        opened = y / camera.height * camera.readout
        share = np.clip((opened + camera.exposure - switch) / camera.exposure, 0, 1)
        level = linear(frame.rgb[round(y) - 1 : round(y) + 2, round(x) - 1 : round(x) + 2].max())
        assert (level > 0.3) == (share > 0.4) or 0.1 < share < 0.9, (y, share, level)
    assert frame.rgb[: int(90 * (switch - 0.006) / 0.03)].max() < 40


def test_light_switched_by_pwm_is_summed_over_the_exposure() -> None:
    # Source: the definition, summed over a fine clock
    rng = np.random.default_rng(3)
    hertz, phase = rng.uniform(300, 900, size=(30, 1)), rng.random((30, 1))
    change = rng.integers(0, 8, size=30) * STEP
    duty = rng.random((2, 30, 1)).repeat(3, axis=2)

    def levels(t: NDArray) -> NDArray:
        return np.where((t[:, None] < change)[..., None], duty[0], duty[1])

    opened = rng.uniform(0, 0.006, size=30)
    closed = opened + 0.0071
    fine = np.linspace(0, 0.0071, 20_001)[:-1] + 0.0071 / 40_000
    at = opened[:, None] + fine
    now = np.where(at < change[:, None], duty[0, :, :1], duty[1, :, :1])
    lit = ((at * hertz + phase) % 1 < now).mean(axis=1)
    np.testing.assert_allclose(Lights(levels, hertz, phase).shone(opened, closed)[:, 0], lit, atol=2e-3)


def test_a_short_exposure_beats_with_the_pwm_and_a_long_one_does_not() -> None:
    spread = []
    for exposure in (1 / 1000, 1 / 31):
        camera = replace(SMALL, exposure=exposure, electrons=1e6, read_noise=0.0, gain=0.5)
        scene = Scene(ONE, pwm_hz=400.0)
        peaks = [linear(p.rgb.max()) for p in pictures(scene, replace(camera, fps=29.97), steady(0.5), 1.0)]
        spread.append(np.std(peaks))
    assert spread[0] > 5 * spread[1]


@pytest.mark.parametrize("light", [0.0, 0.02, 0.2])
def test_noise_grows_with_the_signal_as_the_standard_says(light: float) -> None:
    # Source: EMVA Standard 1288, release 4.0: variance = dark variance + signal / electrons at full scale
    camera = replace(SMALL, width=640, height=360, electrons=1000.0, read_noise=5.0)
    sensor = Sensor(camera, np.random.default_rng(0))
    counted = sensor._counted(np.full((360, 1920), light, np.float32))
    assert counted.var() == pytest.approx(light / 1000 + (5 / 1000) ** 2, rel=0.02)
    assert counted.mean() == pytest.approx(light, abs=1e-3)


def test_a_mosaic_of_one_colour_comes_back_as_that_colour() -> None:
    for letter in range(3):
        light = np.zeros((90, 160, 3), np.float32)
        light[..., letter] = 0.5
        sensor = Sensor(replace(SMALL, bayer=True, electrons=1e6, read_noise=0.0), np.random.default_rng(0))
        middle = linear(sensor.picture(light, np.ones(2))[10:-10, 10:-10]).mean(axis=(0, 1))
        np.testing.assert_allclose(middle, np.eye(3)[letter] * 0.5, atol=0.01)


def test_all_three_colours_pass_through_the_sensor() -> None:
    light = np.broadcast_to(np.array([0.1, 0.2, 0.3], np.float32), (90, 160, 3)).copy()
    for extra in ({}, {"local_tone": 0.4}, {"bloom": 0.05}, {"spatial_denoise": 0.6, "sharpen": 0.3}):
        sensor = Sensor(replace(SMALL, electrons=1e6, read_noise=0.0, **extra), np.random.default_rng(0))
        mean = linear(sensor.picture(light, np.ones(2))).mean(axis=(0, 1))
        np.testing.assert_allclose(mean / mean[1], [0.5, 1.0, 1.5], rtol=0.03)
    warm = Sensor(replace(SMALL, electrons=1e6), np.random.default_rng(0)).picture(light, np.array([2.0, 0.5]))
    np.testing.assert_allclose(linear(warm).mean(axis=(0, 1)), [0.2, 0.2, 0.15], rtol=0.03)


def test_bright_light_clips_and_the_knee_holds_it_back() -> None:
    assert tone(SMALL, np.array([0.0, 1.0, 7.0])).tolist() == pytest.approx([0, 1, 1])
    soft = tone(replace(SMALL, knee=0.6), np.linspace(0, 1, 200))
    assert (np.diff(soft) >= 0).all()
    assert soft[-1] == pytest.approx(1.0)


def test_exposure_drifts_and_adapts() -> None:
    scene = Scene(ONE, ambient=Ambient(sky_top=(0.2,) * 3, sky_low=(0.2,) * 3, ground_y=-9.0))
    dark = {"electrons": 1e6, "read_noise": 0.0}

    def means(camera: Camera, scene: Scene = scene) -> NDArray:
        return np.array([linear(p.rgb[:30]).mean() for p in pictures(scene, camera, steady(0.0), 4.0)])

    assert np.ptp(np.log2(means(replace(SMALL, **dark)))) < 0.02
    stops = np.log2(means(replace(SMALL, exposure_drift=0.3, **dark)))
    assert 0.3 < np.ptp(stops) < 2.0
    bright = replace(scene, ambient=replace(scene.ambient, car=Car(1.0, 4.0, (0, -0.5), (0, -0.5), radius=0.4)))
    adapted = means(replace(SMALL, auto_exposure=0.9, **dark), scene=bright)
    assert adapted[-1] < 0.8 * adapted[0], "the camera makes a bright picture darker"


def test_white_balance_drifts_in_red_and_blue_only() -> None:
    scene = Scene(ONE, ambient=Ambient(sky_top=(0.2,) * 3, sky_low=(0.2,) * 3, ground_y=-9.0))
    camera = replace(SMALL, white_balance_drift=0.1, electrons=1e6, read_noise=0.0)
    means = np.array([linear(p.rgb).mean(axis=(0, 1)) for p in pictures(scene, camera, steady(0.0), 4.0)])
    assert np.ptp(means[:, 1]) < 0.002
    assert np.ptp(means[:, 0]) > 0.01
    assert np.ptp(means[:, 2]) > 0.01


def test_the_truth_is_where_the_light_is() -> None:
    places = grid(5, 4, 0.25)
    scene = Scene(places, ambient=None)
    for extra in ({}, {"rotation": 90, "yaw": 3.0}, {"shake": 1.5, "readout": 0.02}, {"stabilise": 0.8, "shake": 1.5}):
        camera = replace(SMALL, blur=1.0, gain=0.9, electrons=1e5, **extra)
        for number in (0, 7, 19):
            drive = np.zeros(20)
            drive[number] = 1
            shoot = Shoot(scene, camera, steady(*drive), 0.04, 0.0, 3)
            light = linear(next(shoot.frames()).rgb[..., 1])
            light[light < 0.01] = 0
            rows, columns = np.mgrid[: camera.height, : camera.width]
            middle = np.array([(light * columns).sum(), (light * rows).sum()]) / light.sum()
            np.testing.assert_allclose(middle, shoot.truth().places[number], atol=0.12)


def test_what_is_hidden_faint_covered_or_outside_is_not_visible(tmp_path: Path) -> None:
    places = np.array([[0.0, 0.0], [0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [9.0, 0.0]])
    branch = Branch((0.3, 0.8), ((-0.3, 0.5, 0.3, 0.5, 0.2),), degrees=0.0, depth=0.0)
    glass = Glass(-2, -2, 2, -0.1, "y", -0.25, 0.5)
    scene = Scene(
        places, facing=np.array([1, 0, 0.003, 1, 1]), ambient=Ambient(branch=branch, glass=glass, ground_y=-5)
    )
    truth = film(scene, SMALL, steady(1, 1, 1, 1, 1), 0.2, tmp_path / "a.mp4")
    assert truth.visible.tolist() == [True, False, False, False, False]
    assert truth.in_picture.tolist() == [1, 1, 1, 1, 0]
    assert truth.uncovered[3] < 0.1
    assert truth.levels[3] < 10
    frame = next(pictures(scene, SMALL, steady(1, 1, 1, 1, 1), 0.04)).rgb.max(axis=2)
    shown = [frame[round(y), round(x)] for x, y in truth.places[:4]]
    assert shown[0] > 200
    assert max(shown[1:]) < 50, "hidden, faint, covered"
    assert truth.levels[0] > 200
    assert truth.levels[1] == 0
    assert truth.spacing[0] == pytest.approx(20, abs=0.1)
    np.testing.assert_allclose(truth.reflections[0], truth.places[0] + [0, 20], atol=0.1)


def test_a_focus_that_wanders_spreads_the_light_and_keeps_it() -> None:
    camera = replace(SMALL, gain=0.5, electrons=1e6, read_noise=0.0, blur=1.0)
    sharp = next(pictures(Scene(ONE), camera, steady(1.0), 0.04)).rgb[..., 1]
    films = [next(pictures(Scene(ONE), replace(camera, focus_drift=3.0), steady(1.0), 0.04, seed=s)) for s in range(6)]
    soft = min((each.rgb[..., 1] for each in films), key=np.max)
    assert linear(soft).max() < 0.6 * linear(sharp).max()
    assert linear(soft).sum() == pytest.approx(linear(sharp).sum(), rel=0.1)


def test_temporal_denoising_calms_what_is_still_and_lets_changes_through() -> None:
    camera = replace(SMALL, temporal_denoise=0.7, electrons=2000.0)
    rng = np.random.default_rng(0)
    calm, plain = Sensor(camera, rng), Sensor(replace(camera, temporal_denoise=0.0), rng)
    light = np.full((90, 160, 3), 0.1, np.float32)
    for _ in range(6):
        quiet, noisy = calm.picture(light, np.ones(2)), plain.picture(light, np.ones(2))
    assert quiet.std() < 0.7 * noisy.std()
    light[40:50] = 0.8
    assert linear(calm.picture(light, np.ones(2))[40:50]).mean() == pytest.approx(0.8, rel=0.05)


def test_local_tone_mapping_lifts_the_dark_more_than_the_bright() -> None:
    light = np.full((90, 160, 3), 0.02, np.float32)
    light[:, :80] = 0.4
    sensor = Sensor(replace(SMALL, local_tone=0.5, electrons=1e6), np.random.default_rng(0))
    levels = linear(sensor.picture(light, np.ones(2)))
    assert levels[:, 10:50].mean() / levels[:, 110:150].mean() < 15


def test_the_same_seed_gives_the_same_frames_and_another_does_not() -> None:
    places = grid(8, 6, 0.1)
    camera = replace(random_camera(np.random.default_rng(5), places, "hand", width=160, height=90), fps=30.0)
    scene = random_scene(np.random.default_rng(5), places)
    films = [[p.rgb for p in pictures(scene, camera, steady(*np.ones(48)), 0.2, seed=s)] for s in (1, 1, 2)]
    assert all((a == b).all() for a, b in zip(films[0], films[1], strict=True))
    assert any((a != b).any() for a, b in zip(films[0], films[2], strict=False))


def test_the_surroundings_stand_still_and_move_with_the_camera() -> None:
    window = Surface(((-0.2, -0.2), (-0.2, 0.2), (0.2, 0.2), (0.2, -0.2)), (0.5, 0.5, 0.5))
    scene = Scene(ONE, ambient=Ambient(surfaces=(window,), ground_y=-5), facing=np.zeros(1))
    for shake in (0.0, 2.0):
        camera = replace(SMALL, shake=shake, electrons=1e6)
        middles = []
        shoot = Shoot(scene, camera, steady(0.0), 0.5, 0.0, 1)
        rows, columns = np.mgrid[: camera.height, : camera.width]
        for picture in shoot.frames():
            light = np.maximum(linear(picture.rgb[..., 1]) - 0.05, 0)
            middles.append([(light * columns).sum() / light.sum(), (light * rows).sum() / light.sum()])
        truth = shoot.truth()
        np.testing.assert_allclose(middles[0], truth.places[0], atol=0.6)
        np.testing.assert_allclose(np.array(middles) - middles[0], truth.path, atol=0.1)


def test_noise_in_grey_levels_is_what_a_dark_picture_has() -> None:
    camera = replace(SMALL, electrons=500.0, read_noise=3.0)
    sensor = Sensor(camera, np.random.default_rng(0))
    light = np.full((90, 160, 3), 0.05, np.float32)
    assert sensor.picture(light, np.ones(2)).std() == pytest.approx(noise_levels(camera, 0.05), rel=0.2)


def test_a_median_pixel_at_gain_one_just_fills_the_sensor() -> None:
    for blur in (0.6, 1.2):
        camera = replace(SMALL, width=161, height=91, blur=blur, gain=1.0, electrons=1e6, read_noise=0.0)
        frame = next(pictures(Scene(ONE), camera, steady(1.0), 0.04))
        assert linear(frame.rgb[45, 80]).max() == pytest.approx(1.0, abs=0.12)
        assert height(blur) < 1


def test_each_letter_is_seen_in_its_row_of_the_response() -> None:
    response = np.array([[0.8, 0.15, 0.0], [0.2, 0.6, 0.1], [0.0, 0.25, 0.9]])
    camera = replace(SMALL, width=161, height=91, gain=0.5, electrons=1e6, read_noise=0.0)
    for letter in range(3):
        drive = np.zeros((1, 1, 3))
        drive[..., letter] = 1
        frame = next(pictures(Scene(ONE, response=response), camera, lambda t, d=drive: d.repeat(len(t), axis=0), 0.04))
        np.testing.assert_allclose(linear(frame.rgb[45, 80]), 0.5 * response[letter], atol=0.06)


def test_what_is_nearer_is_seen_farther_out_and_brighter() -> None:
    places = np.array([[0.5, 0.0], [0.5, 0.0], [-0.5, 0.3]])
    shoot = Shoot(Scene(places, depth=np.array([0.0, 1.0, 0.0])), SMALL, steady(1, 1, 1), 0.04, 0.0, 0)
    next(shoot.frames())
    at = shoot.truth().places - [79.5, 44.5]
    np.testing.assert_allclose(at[:2], [[20, 0], [30, 0]], atol=1e-6)
    assert shoot.full[1] / shoot.full[0] == pytest.approx((3 / 2) ** 2)


def test_a_halo_keeps_the_light_and_reaches_far() -> None:
    board = np.zeros((180, 320, 3), np.float32)
    board[90, 160] = 100
    spread = halo(board, 0.05)
    assert spread.sum() == pytest.approx(board.sum(), rel=0.02)
    assert spread[90, 160].max() == pytest.approx(95, rel=0.02)
    assert 0 < spread[90, 175].max() < spread[90, 165].max()


def test_a_mirror_shows_pixels_dimmed_where_the_truth_says() -> None:
    glass = Glass(-2, -2, 2, 2, "x", 0.2, 0.3)
    camera = replace(SMALL, electrons=1e6, read_noise=0.0, gain=0.8)
    shoot = Shoot(
        Scene(np.array([[-0.4, 0.1]]), ambient=Ambient(glass=glass, ground_y=-9)), camera, steady(1.0), 0.04, 0, 0
    )
    light = linear(next(shoot.frames()).rgb[..., 1])
    light[light < 0.01] = 0
    left, right = light[:, :90], light[:, 90:]
    assert right.sum() / left.sum() == pytest.approx(0.3, rel=0.1)
    rows, columns = np.mgrid[:90, 90:160]
    middle = np.array([(right * columns).sum(), (right * rows).sum()]) / right.sum()
    np.testing.assert_allclose(middle, shoot.truth().reflections[0], atol=0.1)


def test_a_smeared_pixel_rises_less() -> None:
    scene, levels = Scene(ONE), []
    for exposure in (0.001, 0.03):
        camera = replace(
            SMALL, focal=1200.0, position=(0, 0, 30), shake=6.0, exposure=exposure, gain=0.3, electrons=1e6
        )
        shoot = Shoot(scene, camera, steady(1.0), 1.0, 0.0, 1)
        peaks = [linear(each.rgb).max() for each in shoot.frames()]
        levels.append((shoot.truth().levels[0], 255 * tone(camera, np.array([max(peaks)]))[0]))
    for told, seen_ in levels:
        assert told == pytest.approx(seen_, rel=0.15)
    assert levels[1][0] < 0.8 * levels[0][0]


@pytest.mark.parametrize("wide", [160, 161])
def test_a_pixel_between_points_rises_less_than_one_on_a_point(wide: int) -> None:
    camera = replace(SMALL, width=wide, height=wide - 70, blur=0.6, gain=0.4, electrons=1e6, read_noise=0.0)
    shoot = Shoot(Scene(ONE), camera, steady(1.0), 0.04, 0.0, 0)
    highest = next(shoot.frames()).rgb.max()
    assert shoot.truth().levels[0] == pytest.approx(highest, rel=0.1)
