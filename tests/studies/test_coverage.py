"""A study says what a procedure catches, what it misses and why; it is the same however it was made."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from distributed import LocalCluster

from benchtest.profile.permitted import Limits
from benchtest.studies.coverage import study
from benchtest.studies.page import to_html, to_json, to_lines
from benchtest.studies.trial import Subject, Trial, try_one
from benchtest.studies.trials import Stock, all_trials, carry_out, stock
from tests.studies.studied import carwash, tried

SOME = [Trial(faults=(), seed=seed) for seed in range(3)] + [
    Trial(faults=(text,), seed=4) for text in ("K1 contact welded", "D6 lamp dark", "K2 slow operate", "main shorted")
]


def test_every_board_is_accounted_for() -> None:
    """Faults, boards and good boards are those that were tried; caught, inconclusive and missed do not overlap."""
    found = study(carwash(), tried())
    boards = [one for one in tried() if one.trial.faults]

    assert (20, len(boards)) == (found.good, found.boards)
    assert sum(one.outcome == "fail" for one in boards) == found.caught
    assert found.caught + found.inconclusive + sum(one.passed for one in found.missed) == found.boards


def test_what_is_inconclusive_is_named_on_paper_and_page() -> None:
    """A fault whose boards neither pass nor fail is told by its name, with how many of how many, and where it shows."""
    boards = [one for one in tried() if one.trial.faults]
    fault = boards[0].trial.faults
    symptoms = {"exercise.K1.operate": "not tested"}
    undone = [replace(one, outcome="inconclusive", symptoms=symptoms) for one in boards if one.trial.faults == fault]
    found = study(carwash(), [*undone, *(one for one in tried() if one.trial.faults != fault)])
    said = f"{fault[0]} ({len(undone)} of {len(undone)} inconclusive): exercise.K1.operate not tested"

    assert said in found.undecided
    assert f"  {said}" in list(to_lines(found))
    assert f"<li>{said}</li>" in to_html(found)
    assert found.inconclusive == sum(one.outcome == "inconclusive" for one in boards) + len(undone)


def test_most_faults_are_caught_and_no_good_board_is_wronged() -> None:
    """The shipped profile catches 95 % of the boards at least; twenty good boards pass."""
    found = study(carwash(), tried())

    assert found.share >= 0.95
    assert () == found.alarms
    assert found.alarm_limit == pytest.approx(1 - 0.05 ** (1 / 20))


def test_what_is_missed_has_its_reason() -> None:
    """Without a limit for the coil's current, shorted turns pass, and the study says which limit is wanted."""
    subject = without_current(carwash())
    trials = [Trial(faults=(), seed=seed) for seed in range(5)] + [Trial(faults=("K2 coil turns shorted",), seed=1)]
    (missed,) = study(subject, carry_out(subject, trials, jobs=1)).missed

    assert "K2 coil turns shorted" == missed.fault
    assert re.search(r"the limit of K2 .* is too wide|a limit 'current' for K2", missed.reason)


def without_current(subject: Subject) -> Subject:
    """The same subject without the checks of the coils' currents."""
    steps = tuple(
        replace(step, checks=tuple(check for check in step.checks if "coil-current" not in check.id))
        for step in subject.procedure.steps
    )
    return replace(subject, procedure=replace(subject.procedure, steps=steps))


def test_faults_that_look_the_same_are_a_group() -> None:
    """A dark input and a driver that does not conduct cannot be told apart where only the relay is watched."""
    groups = study(carwash(), tried()).groups

    assert any({"K2 driver open", "foam input stuck"} <= set(group) for group in groups)


def test_the_same_study_comes_of_one_process_and_of_two() -> None:
    """Every trial is decided by its faults and its seed, not by who makes it when."""
    assert carry_out(carwash(), SOME, jobs=1) == carry_out(carwash(), SOME, jobs=2)


def test_the_same_study_comes_of_a_cluster() -> None:
    """Sent to a Dask scheduler on this computer, the trials come back as they do from here."""
    with LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, protocol="tcp", host="127.0.0.1", dashboard_address=None
    ) as cluster:
        found = carry_out(carwash(), SOME, scheduler=cluster.scheduler_address)

    assert carry_out(carwash(), SOME, jobs=1) == found


def test_interrupted_work_goes_on_where_it_stood(tmp_path: Path) -> None:
    """What is kept is not made again, a torn last line is, and the end is that of work in one go."""
    kept = stock(carwash(), tmp_path)
    carry_out(carwash(), SOME[:4], kept=kept, jobs=1)
    kept.path.write_text(kept.path.read_text(encoding="utf-8")[:-40], encoding="utf-8")
    told: list[tuple[int, int]] = []
    found = carry_out(carwash(), SOME, kept=kept, jobs=1, progress=lambda done, of: told.append((done, of)))

    assert (3, len(SOME)) == told[0]
    assert (len(SOME), len(SOME)) == told[-1]
    assert carry_out(carwash(), SOME, jobs=1) == found


def test_another_procedure_has_another_stock(tmp_path: Path) -> None:
    """What was tried on one procedure says nothing about another."""
    assert stock(carwash(), tmp_path).key != stock(without_current(carwash()), tmp_path).key


def test_what_is_kept_is_read_back_as_it_was(tmp_path: Path) -> None:
    """Infinite values and words survive the file."""
    kept = Stock(path=tmp_path / "some.jsonl", key="")
    made = [try_one(carwash(), trial) for trial in SOME]
    kept.add(made)

    assert made == list(kept.load().values())


def test_a_stock_that_cannot_be_read_is_an_empty_one(tmp_path: Path) -> None:
    """Bytes that are no text, or a folder in its place, cost nobody a run: everything can be made again."""
    garbled = tmp_path / "garbled.jsonl"
    garbled.write_bytes(b"\xff\xfe\x00{\n[1]\nnull\n")

    assert {} == Stock(path=garbled, key="").load()
    assert {} == Stock(path=tmp_path, key="").load()


def test_seeds_of_a_study_follow_from_its_base() -> None:
    """Two boards of one fault differ, two studies with one base do not, and another base gives other boards."""
    one, again, other = (all_trials(carwash(), good=2, boards=2, base=base) for base in (1, 1, 2))

    assert one == again
    assert not {trial.name for trial in one} & {trial.name for trial in other}
    assert len({trial.name for trial in one}) == len(one)


def test_the_study_is_text_data_and_page() -> None:
    """All three say the same share; the page runs nothing and loads nothing."""
    found = study(carwash(), tried())
    page, data = to_html(found), json.loads(json.dumps(to_json(found)))

    assert "benchtest-coverage/1" == data["format"]
    assert found.share == data["share"]
    assert any(f"{found.caught} of {found.boards}" in line for line in to_lines(found))
    assert f"{found.caught} of {found.boards}" in page
    assert not re.search(r"<script|https?://|src=", page)


def test_limits_that_are_too_wide_are_named_with_their_place() -> None:
    """A slow relay within a wide limit is told with the limit, its line, what was read and what a good board has."""
    subject = carwash()
    wide = Limits.model_construct(min=1e-3, max=0.5)
    steps = tuple(
        replace(
            step,
            checks=tuple(
                replace(check, permitted=type(check.permitted)(low=1e-3, high=wide.high))
                if check.id.endswith("K1.operate-time") and not isinstance(check.permitted, str)
                else check
                for check in step.checks
                if "K1.operate-time" in check.id or "others" not in check.id
            ),
        )
        for step in subject.procedure.steps
    )
    wider = replace(subject, procedure=replace(subject.procedure, steps=steps))
    trials = [Trial(faults=(), seed=seed) for seed in range(5)] + [Trial(faults=("K1 slow operate",), seed=3)]
    found = study(wider, carry_out(wider, trials, jobs=1))

    for missed in found.missed:
        assert re.search(r"too wide \(.*carwash.yaml:\d+\).* here, .* on a good board", missed.reason)
