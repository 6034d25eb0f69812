"""The whole program on a desk: micropython -m boards.desk.main --folder=FOLDER, under the unix port."""

import select
import sys

from boards.desk.board import DeskBoard, Options
from boards.services import Flash, StandardPort
from boards.starting import ride, stay_in_maintenance

try:
    options = Options(sys.argv[1:])
except ValueError as error:
    sys.stderr.write("desk: " + error.args[0] + "\n")
    sys.exit(2)
board = DeskBoard(options)
outgoing = select.poll()
outgoing.register(sys.stdout, select.POLLOUT)
board.keep_step_with(outgoing)
flash = Flash(options.folder)
if not stay_in_maintenance(board, flash):
    ride(board, flash, StandardPort(), "desk")
