"""The `afterfeel` command: read the arguments, make one call, print.

Results go to standard output, talk to standard error. Exit 0: done; 1: the study has findings that stop the work;
2: wrong use or unreadable input. Heavy imports stay inside the commands, so that `--help` is quick.
"""

from __future__ import annotations

import atexit
import gc
import os
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec, PathFinder
from importlib.util import LazyLoader
from typing import Any

import click

from panel import __version__
from panel.cli.analyses import compare, compare_all, map_prototypes, over_time, panel
from panel.cli.consumers import consumers, forced_choice
from panel.cli.decide import claim, decide, trace
from panel.cli.edit import reaction, set_in_study, sign_off, template
from panel.cli.planning import ballots, lock, plan, rehearse
from panel.cli.shared import tell
from panel.cli.studies import app, archive, check, glance, history, import_scores, remove_person, report, why
from panel.errors import PanelError

_COLLECT_AFTER = 2_000_000
"""New objects before the collector looks for cycles: loading the libraries and a whole report make few of them."""

_SELDOM_USED = frozenset(
    {
        *("numpy.f2py", "numpy.testing", "pandas.api.interchange", "scipy.spatial.transform"),
        *("scipy.linalg._decomp_interpolative", "matplotlib.inset", "matplotlib._afm", "fontTools.agl"),
    }
)
"""Parts that libraries name and no command uses, at 5 % of what a command takes."""


class _LoadedOnUse:
    """Finds the parts that are seldom used, so that each is loaded when something of it is used."""

    @staticmethod
    def find_spec(name: str, path: Sequence[str] | None, _target: object = None) -> ModuleSpec | None:
        """Return where one of these parts is; None for all others."""
        spec = PathFinder.find_spec(name, path) if name in _SELDOM_USED else None
        if spec is not None and spec.loader is not None:
            spec.loader = LazyLoader(spec.loader)
        return spec


class _Commands(click.Group):
    """A group whose commands say what is wrong in one sentence instead of a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; a PanelError becomes its sentence on standard error and an exit code."""
        try:
            return super().invoke(ctx)
        except PanelError as error:
            from panel.errors import ModelError

            tell(f"afterfeel: {error}", err=True)
            sys.exit(1 if isinstance(error, ModelError) else 2)


@click.group(cls=_Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="afterfeel")
@click.pass_context
def main(context: click.Context) -> None:
    """Panel tests of emollient prototypes: which differ, what each swap went with, what may be said.

    STUDY is a study folder, a workbook (.xlsx) or a zipped folder (.zip).
    """
    for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # the matrices are small: more threads only get in each other's way
    os.environ.setdefault("ARROW_DEFAULT_MEMORY_POOL", "system")  # its own keeps 16 MB for itself
    if _LoadedOnUse not in sys.meta_path:
        sys.meta_path.insert(0, _LoadedOnUse)
    usual = gc.get_threshold()
    gc.set_threshold(_COLLECT_AFTER)
    context.call_on_close(lambda: gc.set_threshold(*usual))
    context.call_on_close(gc.unfreeze)  # run first: what was made goes to the old objects, not looked through now
    context.call_on_close(gc.freeze)
    atexit.register(gc.freeze)  # a process that ends need not look for cycles among everything it loaded


_COMMANDS = (
    (template, import_scores, set_in_study, check, glance, history, plan, sign_off, reaction, ballots, lock, rehearse),
    (panel, compare, compare_all, map_prototypes, over_time, trace),
    (consumers, forced_choice),
    (decide, claim, report, why, archive),
    (remove_person, app),
)
for _command in (command for group in _COMMANDS for command in group):
    main.add_command(_command)
