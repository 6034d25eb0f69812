"""How often intervals of `treadle measure` hold the truth, for KIND COUNT SEED.

KIND is coast-down, ride, stand, load-steps, pushed or known. 200 coast-downs or rides take about a minute of
processor time, 200 stand runs about five: set OPENBLAS_NUM_THREADS=1, several threads only wait for each
other. Cases that were not enough for a number are left out; the first column says how many are left.
"""

import sys

from tests.measuring.coverage import table


def main() -> None:
    kind, count, seed = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
    for name, (cases, held, error) in table(kind, count, seed).items():
        print(f"{name:24} {cases} cases, held {held:.1%}, median error {error:.2%}")


if __name__ == "__main__":
    main()
