"""How much Hypothesis tries: modest by default, `--hypothesis-profile=deep` for a long search."""

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
