"""Workers of either kind."""

import pytest

from tests.spread.own_cluster import own_cluster, until
from underlid.spread import workers


@pytest.fixture(scope="session")
def cluster(tmp_path_factory):
    """The address of a scheduler with two workers."""
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    with own_cluster(tmp_path_factory.mktemp("cluster")) as made:
        made.scheduler()
        for _ in range(2):
            made.worker("--nthreads", "1")
        with workers(cluster=made.address) as pool:
            until(lambda: len(pool._client.nthreads()) == 2)  # type: ignore[attr-defined]
        yield made.address


@pytest.fixture(params=["2 processes", "cluster"])
def several(request):
    return {"count": 2} if request.param != "cluster" else {"cluster": request.getfixturevalue("cluster")}
