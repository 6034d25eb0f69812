"""All statements by their names: what is said of a step, of one edge, and of the gate."""

from host_sim.proof.whole.statement import Statement
from host_sim.proof.whole.statements_decide import DECIDE_STATEMENTS
from host_sim.proof.whole.statements_edges import EDGE_STATEMENTS
from host_sim.proof.whole.statements_gate import GATE_STATEMENTS
from host_sim.proof.whole.statements_step import STEP_STATEMENTS

STATEMENTS: dict[str, Statement] = {
    one.name: one for one in (*STEP_STATEMENTS, *DECIDE_STATEMENTS, *EDGE_STATEMENTS, *GATE_STATEMENTS)
}
