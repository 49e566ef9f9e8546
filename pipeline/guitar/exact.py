"""Exact parts of the score for many setups: the optimal paths, each found once.

Task: score setups exactly. In: a Field of setups that hold the tune. Out: their parts.
Method: setups whose open strings sound the same against the tune share one path.
"""

from __future__ import annotations

import numpy as np

from liltwright.guitar.fingering import Paths, Problem, Search
from liltwright.guitar.player import Player
from liltwright.guitar.score import Facts, Field, path_parts, setup_parts
from liltwright.guitar.tunings import parse_tuning

BLOCK = 512
"""Paths counted side by side: keeps the memory small when there are thousands."""


def exact_parts(facts: Facts, candidates: Field, player: Player, search: Search) -> np.ndarray:
    """Parts of the score of every setup, shape (n, parts); each setup must hold the tune."""
    paths = shared_paths(search, candidates, player)
    present = np.array(parse_tuning(player.present_tuning)[1])
    parts = setup_parts(facts, candidates, player, present)
    for begin in range(0, len(candidates), BLOCK):
        rows = np.arange(begin, min(begin + BLOCK, len(candidates)))
        some = Paths(paths.table, paths.ticks[rows], paths.index[rows])
        parts[rows] += path_parts(facts, candidates.take(rows), player, some)
    return parts


def shared_paths(search: Search, candidates: Field, player: Player) -> Paths:
    """Optimal path of every setup.

    Setups whose open strings sound the same against the tune have the same frets: they share the
    path found with the most room; where it goes above a setup's last fret, that setup is searched
    on its own.
    """
    highest = (player.body_fret + player.past_body - candidates.capo).tolist()
    sounding = candidates.strings_midi + (candidates.capo - candidates.transpose)[:, None]
    own = [Problem(tuple(row), h) for row, h in zip(sounding.tolist(), highest, strict=True)]
    widest: dict[tuple[int, ...], Problem] = {}
    for problem in own:
        known = widest.get(problem.open_written)
        if known is None or problem.highest > known.highest:
            widest[problem.open_written] = problem
    first = search.paths(list(widest.values()))
    row_of = {key: row for row, key in enumerate(widest)}
    rows = np.array([row_of[problem.open_written] for problem in own])
    top = first.table.fret[first.index].max(axis=1)
    ticks, index = first.ticks[rows], first.index[rows]
    again = np.flatnonzero(top[rows] > highest)
    if len(again):
        second = search.paths([own[row] for row in again])
        ticks[again], index[again] = second.ticks, second.index
    return Paths(first.table, ticks, index)
