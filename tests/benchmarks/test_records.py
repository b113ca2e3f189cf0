"""How fast records are asked and written, beside sqlite3 alone, with some thousand runs.

The million is a command of its own: `python -m tests.benchmarks.million`, its figures are in docs/records-speed.md.
"""

from statistics import median

import pytest

from tests.benchmarks.generated import Generated
from tests.benchmarks.million import LIMITS, Timed, measured, table
from tests.benchmarks.yardstick import slowness
from tests.servers.postgresql import served

RUNS = 3_000
Found = dict[str, dict[str, Timed]]


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> Found:
    """What every question took on both kinds of database."""
    with served(durable=True) as server:
        times = measured(tmp_path_factory.mktemp("speed") / "records.sqlite", server.new(), Generated(RUNS))
    print(f"\n{table(times, RUNS)}")
    return times


@pytest.mark.parametrize("kind", ["SQLite", "PostgreSQL"])
@pytest.mark.parametrize("question", LIMITS)
def test_records_keep_to_their_limits(found: Found, kind: str, question: str) -> None:
    """A history within 20 ms, a recall within 200, a run stored within 10, of processor time: others may be busy."""
    assert median(found[kind][question].worked) <= LIMITS[question] * slowness()


def test_storing_costs_what_can_be_expected_beside_bare_rows(found: Found) -> None:
    """Packing 464 readings, looking for what runs share, SQLAlchemy: at most forty times two bare inserts."""
    ours, bare = (median(found[kind]["store a run"].worked) for kind in ("SQLite", "bare sqlite3"))
    print(
        f"\nstore {ours * 1e3:.2f} ms of processor time, bare {bare * 1e3:.2f} ms, ratio {ours / bare:.1f} (limit 40)"
    )
    assert ours <= 40 * bare
