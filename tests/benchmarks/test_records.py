"""How fast records are asked and written, beside sqlite3 alone, with some thousand runs.

The million is a command of its own: `python -m tests.benchmarks.million`, its figures are in docs/records-speed.md.
"""

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
    """A history within 20 ms, a recall within 200, a run stored within 10: the best of forty, others may be busy."""
    assert min(found[kind][question].seconds) <= LIMITS[question] * slowness()


def test_storing_costs_a_few_times_what_the_bare_rows_cost(found: Found) -> None:
    """Packing, looking for what runs share, SQLAlchemy: less than twelve times two bare inserts and their commit."""
    ours, bare = (min(found[kind]["store a run"].seconds) for kind in ("SQLite", "bare sqlite3"))
    print(f"\nstore {ours * 1e3:.2f} ms, bare {bare * 1e3:.2f} ms, ratio {ours / bare:.1f} (limit 12)")
    assert ours <= 12 * bare
