"""Where what takes long to make is kept between runs: compiled copies, path vectors."""

import os
from pathlib import Path

CACHE_VARIABLE = "TREADLE_CACHE"


def cache_folder() -> Path:
    """Return the folder, which need not exist: the user's cache, or what the environment variable names."""
    from platformdirs import user_cache_path

    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else user_cache_path("treadle")
