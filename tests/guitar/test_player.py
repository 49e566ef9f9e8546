"""The player's profile: kept, read back, refused when it makes no sense."""

from __future__ import annotations

from pathlib import Path

import pytest

from liltwright.errors import PipelineError, UsageError
from liltwright.guitar.player import Player, load_player, profile_path, save_player


def test_a_profile_is_read_back_as_written(tmp_path: Path) -> None:
    player = Player(
        scale_mm=630.0, highest_capo=7, tunings_used=("DADGAD", "CGDGAD"), left_handed=True
    )
    path = save_player(player, tmp_path / "deep" / "profile.json")
    assert load_player(path) == player
    assert list(path.parent.iterdir()) == [path]


def test_without_a_profile_the_usual_player_is_taken(tmp_path: Path) -> None:
    assert load_player(tmp_path / "none.json") == Player()


def test_the_profile_lies_in_the_platforms_place_for_settings(monkeypatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert profile_path().name == "profile.json"
    assert "liltwright" in profile_path().parts


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("{", "not JSON"),
        ('{"size": 3}', "unknown entry 'size'"),
        ('{"scale_mm": "long"}', "scale_mm"),
        ("[1]", "not JSON|unknown"),
    ],
)
def test_a_spoiled_profile_is_named(tmp_path: Path, text: str, says: str) -> None:
    path = tmp_path / "profile.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(PipelineError, match=says):
        load_player(path)


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"scale_mm": 2000.0}, "scale_mm is 2000"),
        ({"highest_capo": 14}, "highest_capo is 14"),
        ({"comfort_mm": 120.0, "widest_mm": 110.0}, "less than the comfortable"),
    ],
)
def test_sizes_no_hand_or_guitar_has_are_refused(changes: dict[str, float], says: str) -> None:
    with pytest.raises(UsageError, match=says):
        Player(**changes)
