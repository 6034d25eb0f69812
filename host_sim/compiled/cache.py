"""Where slow results are kept between runs: compiled copies, path vectors."""

import os
from pathlib import Path

CACHE_VARIABLE = "TREADLE_CACHE"


def cache_folder() -> Path:
    """Return the folder, which need not exist: the user's cache, or as the environment variable says."""
    from platformdirs import user_cache_path

    named = os.environ.get(CACHE_VARIABLE)
    return Path(named) if named else user_cache_path("treadle")
