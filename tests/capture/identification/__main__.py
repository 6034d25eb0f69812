"""`python -m tests.capture.identification [CAPTURES]`: ride the grid on the bench, print the table."""

import sys

from host_sim.progress import progress_bar
from tests.capture.identification.grid import case
from tests.capture.identification.judging import OUTCOMES, STATED_WRONG, Verdict, judge
from tests.capture.identification.table import markdown

CAPTURES = 2000
FIRST = 10_000  # The inspection was written on the cases below; of those from here on few were looked at.


def main(arguments: list[str]) -> int:
    """Ride CAPTURES cases of the grid from FIRST on; what was stated and wrong goes to standard error."""
    if len(arguments) > 1 or not all(number.isdecimal() and int(number) > 0 for number in arguments):
        sys.stderr.write("allowed is [CAPTURES], CAPTURES a whole number from 1\n")
        return 2
    captures = int(arguments[0]) if arguments else CAPTURES
    judged: list[Verdict] = []
    with progress_bar("identifying") as done:
        for number in range(captures):
            verdicts = judge(case(FIRST + number))
            judged += verdicts
            for verdict in verdicts:
                if verdict.outcome == STATED_WRONG:
                    told = f"case {FIRST + number}: {verdict.finding} ({verdict.row}): "
                    told += f"{OUTCOMES[verdict.outcome]}\n"
                    sys.stderr.write(told)
            done(number + 1, captures)
    table = markdown(judged, captures)
    sys.stdout.write(table + "\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
