"""Films of a lamp, made here with PyAV: the lamp is found by itself, and blinks as it was made to."""

import sys
from pathlib import Path

import numpy as np
import pytest

from benchtest.captures import Options, open_capture
from benchtest.captures.film import load_av
from benchtest.captures.lamp_search import KEPT, Region, find_lamps
from benchtest.errors import CaptureError
from tests.captures.recordings import film, sampled, scene, uneven

BLINKS = [place // 5 % 2 == 1 for place in range(40)]
AT_THE_LAMP = (200, 100, 30, 40)


@pytest.mark.parametrize(("suffix", "codec"), [("mp4", "h264"), ("mov", "mpeg4"), ("mkv", "h264"), ("avi", "mpeg4")])
def test_a_lamp_is_found_and_its_blinking_read(tmp_path: Path, suffix: str, codec: str) -> None:
    """Dark for five frames, lit for five, at 30 frames per second, in noise and after compression."""
    path = film(tmp_path / f"a.{suffix}", [scene(lamp=on, seed=place) for place, on in enumerate(BLINKS)], codec=codec)
    recorded = open_capture(path).read("lamp")
    series = sampled(recorded)

    assert pytest.approx(30, rel=1e-3) == series.rate
    assert BLINKS == (series.values > 0.5).tolist()
    assert any("lamp found at 200,100,30,40" in note for note in recorded.notes)
    assert (series.values.min(), series.values.max()) == (
        pytest.approx(60 / 255, abs=0.03),
        pytest.approx(230 / 255, abs=0.03),
    )


def test_frames_at_times_of_their_own_are_uneven(tmp_path: Path) -> None:
    """A telephone's film with a variable frame rate keeps the time stamps of its frames."""
    stamps = [33 * place + 5 * (place % 3) for place in range(40)]
    path = film(tmp_path / "a.mkv", [scene(lamp=on) for on in BLINKS], codec="h264", milliseconds=stamps)
    assert pytest.approx([stamp / 1000 for stamp in stamps]) == uneven(open_capture(path).read(1)).times


def test_several_lamps_are_listed_and_one_is_chosen(tmp_path: Path) -> None:
    """Two lamps that blink apart: refused with both regions; each can then be said."""
    others = [place // 7 % 2 == 1 for place in range(40)]
    path = film(tmp_path / "a.mp4", [scene(lamp=one, other=two) for one, two in zip(BLINKS, others, strict=True)])

    with pytest.raises(CaptureError, match=r"2 places that change: .*20,20,30,40.*--region"):
        open_capture(path).read(1)
    assert BLINKS == (sampled(open_capture(path, Options(region=AT_THE_LAMP)).read(1)).values > 0.5).tolist()
    assert others == (sampled(open_capture(path, Options(region=(20, 20, 30, 40))).read(1)).values > 0.5).tolist()


def test_neighbours_that_change_at_other_times_are_two_lamps() -> None:
    """They touch, but they do not change together."""
    pictures = []
    for place in range(60):
        picture = np.full((40, 60), 50, np.uint8)
        picture[10:20, 10:20] = 200 if place // 5 % 2 else 50
        picture[10:20, 20:30] = 200 if place // 7 % 2 else 50
        pictures.append(picture)
    assert {
        Region(left=10, top=10, width=10, height=10),
        Region(left=20, top=10, width=10, height=10),
    } == set(find_lamps(pictures))


def test_a_single_flash_in_a_long_film_is_found_with_bounded_memory() -> None:
    """One frame of three thousand is lit, and only so many pictures are kept."""

    def pictures(lit: int) -> list[np.ndarray[tuple[int, int], np.dtype[np.uint8]]]:
        made = [np.full((30, 40), 50, np.uint8)] * 3000
        made[lit] = made[lit].copy()
        made[lit][5:9, 6:12] = 220
        return made

    assert KEPT < 3000
    for lit in (0, 1001, 2999):
        found = find_lamps(pictures(lit))
        assert found
        assert (6, 5) == (min(region.left for region in found), min(region.top for region in found))


def test_a_film_in_which_nothing_changes_says_so(tmp_path: Path) -> None:
    """Noise is no lamp; a region in which nothing changes is read, with a note."""
    path = film(tmp_path / "a.mp4", [scene(lamp=False, seed=place) for place in range(30)])
    with pytest.raises(CaptureError, match="nothing that changes"):
        open_capture(path).read(1)
    still = film(tmp_path / "b.mp4", [scene(lamp=False)] * 30)
    recorded = open_capture(still, Options(region=(10, 10, 20, 20))).read(1)
    assert any("nothing in this region changes" in note for note in recorded.notes)


def test_a_region_outside_the_picture_is_refused(tmp_path: Path) -> None:
    """The message has the size of the picture."""
    path = film(tmp_path / "a.mp4", [scene(lamp=on) for on in BLINKS])
    with pytest.raises(CaptureError, match="within 320 x 240 pixels"):
        open_capture(path, Options(region=(300, 0, 40, 10)))


def test_torn_films_are_refused_or_say_that_they_end_early(tmp_path: Path) -> None:
    """MP4 keeps its index at the end: nothing can be read. MKV can, and says how long it should have been."""
    whole = [scene(lamp=place // 5 % 2 == 1, seed=place) for place in range(60)]
    for suffix in ("mp4", "mkv"):
        path = film(tmp_path / f"a.{suffix}", whole)
        path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])
    with pytest.raises(CaptureError, match="torn"):
        open_capture(tmp_path / "a.mp4")
    assert any("ends early" in note for note in open_capture(tmp_path / "a.mkv").read(1).notes)


def test_without_the_extra_the_message_names_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where PyAV is not installed, films are refused with what to install."""
    monkeypatch.setitem(sys.modules, "av", None)
    with pytest.raises(CaptureError, match=r"uv sync .* --extra video"):
        load_av(tmp_path / "a.mp4")
