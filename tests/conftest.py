"""How much Hypothesis tries: modest by default, `--hypothesis-profile=deep` for a long search. The proof."""

import pytest
from hypothesis import HealthCheck, settings

_SLOW_IS_FINE = (HealthCheck.too_slow, HealthCheck.data_too_large)

settings.register_profile(
    "modest",
    max_examples=40,
    deadline=None,
    derandomize=False,
    print_blob=True,
    suppress_health_check=_SLOW_IS_FINE,
)
settings.register_profile(
    "deep",
    max_examples=1000,
    deadline=None,
    derandomize=False,
    print_blob=True,
    suppress_health_check=_SLOW_IS_FINE,
)
settings.load_profile("modest")


@pytest.fixture(scope="session")
def proved():
    """Prove all properties, once a run; what comes of it is kept for the tests of the runtimes."""
    from host_sim.proof.properties import PROPERTIES
    from host_sim.proof.prover import PROVED, prove
    from host_sim.runtimes.path_vectors import keep_vectors

    judged, lemmas = prove(PROPERTIES, lambda done, of_all: None)
    if all(lemma.verdict == PROVED for lemma in lemmas.values()):
        keep_vectors(lemmas)
    return judged, lemmas
