"""How often intervals of coast-downs hold the truth, 200 random bicycles: SEED, or 2026; half a minute."""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.measuring.coasting import Truth, measured

BICYCLES = 200
SEED = 2026


def main() -> None:
    random = np.random.default_rng(int(sys.argv[1]) if len(sys.argv) > 1 else SEED)
    held = np.zeros(2)
    errors = []
    for _ in range(BICYCLES):
        truth = Truth(random)
        fit = measured(truth, random)
        pairs = ((fit.crr, truth.crr), (fit.cda_m2, truth.cda_m2))
        held += [estimate.low <= true <= estimate.high for estimate, true in pairs]
        errors.append([abs(estimate.value / true - 1.0) for estimate, true in pairs])
    for place, name in enumerate(("crr", "cda_m2")):
        own = [error[place] for error in errors]
        print(
            f"{name:7} held {held[place] / BICYCLES:.1%}, median error {np.median(own):.1%}, "
            f"95 % below {np.quantile(own, 0.95):.1%}"
        )


if __name__ == "__main__":
    main()
