"""Approval: a recipe or limit table is a draft until a person with that right approves its digest.

It is asked for where somebody is registered; the last approval of a recipe or table counts, so that going back to an
older text is approved like going on to a newer one.
"""

from __future__ import annotations

import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from limits import difference as tables_differ
from limits import table as tables
from limits.errors import BadInput
from limits.formwords import suggest
from limits.table import LimitTable
from station.checking import Surroundings, check
from station.database.approvals import Approval
from station.database.entries import DocumentKind, StoredText
from station.database.store import Store
from station.errors import UserMistake
from station.progress import progress
from station.rights import Act, who_may
from station.sequencer import recipe as recipes
from station.sequencer import revision as recipes_differ
from station.sequencer.prepare import recipe_text, table_text
from station.sequencer.recipe import Recipe
from station.settings import Works

NOTHING = "nothing that is measured or judged: comments, spaces, the order or the name of the revision"


@dataclass(frozen=True, slots=True)
class Paper:
    """A recipe or limit table as it stands in the works folder, and what was approved of it."""

    path: Path
    text: StoredText
    approval: Approval | None
    """The last one; None where it was never approved."""

    @property
    def is_approved(self) -> bool:
        """Whether it is approved as it stands."""
        return self.approval is not None and self.approval.text.digest == self.text.digest

    @property
    def title(self) -> str:
        """E.g. `recipe SK-V4 final test, revision B`."""
        return f"{self.text.kind} {self.text.name}, revision {self.text.revision}"

    def differences(self) -> tuple[str, ...]:
        """In words, one line each, what differs from what was approved last; empty where it never was."""
        if self.approval is None or self.is_approved:
            return ()
        old = self.approval.text.text
        try:
            lines = _DIFFERENCES[self.text.kind](old, self.text.text)
        except BadInput as error:
            return (f"what was approved can no longer be read, so look at all of it ({error})",)
        return lines or (NOTHING,)


def _recipes(old: str, new: str) -> tuple[str, ...]:
    return recipes_differ.differences(recipes.of_text(old, "approved"), recipes.of_text(new, "now"))


def _tables(old: str, new: str) -> tuple[str, ...]:
    return tables_differ.differences(tables.of_text(old, "approved"), tables.of_text(new, "now"))


_DIFFERENCES: dict[DocumentKind, Callable[[str, str], tuple[str, ...]]] = {
    DocumentKind.RECIPE: _recipes,
    DocumentKind.LIMIT_TABLE: _tables,
}


def papers(works: Works, store: Store) -> tuple[Paper, ...]:
    """Every recipe that a unit can be tested by, and every limit table; raises BadInput for one with mistakes."""
    paths = [*sorted(works.recipes.glob("*.yaml")), *sorted(works.limits.glob("*.yaml"))]
    return tuple(paper for path in paths if (paper := _paper(works, store, path)) is not None)


def wanted(works: Works, store: Store, what: str) -> tuple[Paper, ...]:
    """Those that a file, or a name in the works folder, stands for. Raises UserMistake, or BadInput for mistakes."""
    named = [folder / f"{what}.yaml" for folder in (works.recipes, works.limits)]
    paths = [path for path in named if path.is_file()] or [path for path in (Path(what),) if path.is_file()]
    if not paths:
        known = {
            path.stem: None for folder in (works.recipes, works.limits) for path in folder.glob("*.yaml")
        }
        raise UserMistake(f"there is no recipe or limit table '{what}'{suggest(what, known)}")
    for path in paths:
        if mistakes := check(path, Surroundings(works.folder, store.orders())).mistakes:
            raise BadInput(mistakes)
    found = tuple(paper for path in paths if (paper := _paper(works, store, path)) is not None)
    if not found:
        raise UserMistake(f"{paths[0]} judges no unit, and needs no approval")
    return found


def drafts(works: Works, store: Store) -> tuple[Paper, ...]:
    """What the open orders would be tested by and is not approved; a file with mistakes is told elsewhere."""
    found: dict[Path, Paper] = {}
    for model in sorted({each.order.model for each in progress(store) if each.is_open}):
        try:
            path = works.recipes / f"{model}.yaml"
            table = works.limits / f"{recipes.load(path).limit_table}.yaml"
            both = [_paper(works, store, each) for each in (path, table)]
        except BadInput:
            continue
        found.update({paper.path: paper for paper in both if paper is not None and not paper.is_approved})
    return tuple(found.values())


def refuse_drafts(store: Store, recipe: Recipe, table: LimitTable) -> None:
    """Raises UserMistake, before anything is touched, where a unit would be tested by what is not approved."""
    if not store.is_anybody():
        return
    for text, file in ((recipe_text(recipe), recipe.source.file), (table_text(table), table.source.file)):
        last = store.approval(text.kind, text.name)
        if last is None or last.text.digest != text.digest:
            since = "was never approved" if last is None else f"was changed since {last.person} approved it"
            raise UserMistake(
                f"not ready to test: {text.kind} {text.name} {since}; let {who_may(Act.APPROVE)} look at it: "
                f"station approve {shlex.quote(file)}"
            )


def _paper(works: Works, store: Store, path: Path) -> Paper | None:
    """None for a recipe without limits: it judges no unit."""
    if path.parent.resolve() == works.limits.resolve() or _is_table(path):
        text = table_text(tables.load(path))
    else:
        recipe = recipes.load(path)
        if recipe.form.limit_table is None:
            return None
        text = recipe_text(recipe)
    return Paper(path, text, store.approval(text.kind, text.name))


def _is_table(path: Path) -> bool:
    return check(path, Surroundings()).kind == DocumentKind.LIMIT_TABLE.value
