"""Write the pages that are made: commands, coatings, doubts, finish-record, decisions/README, and logbook.schema.json.

Run ``python docs/build_reference.py`` after a change of a command, a doubt or a field, or with a new decision;
tests/test_docs.py fails until it was run.
"""

from __future__ import annotations

import inspect
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Final, NamedTuple

import click

from finishlab.board import MAX_COATS
from finishlab.cli import finishlab
from finishlab.coatings import COATINGS, FINEST, FOLLOWS, WOODS, Coating, follow
from finishlab.finish import FINISH_PARTS
from finishlab.finish.fields import FieldSpec, HardLimit, Section, specs
from finishlab.finish.warnings import SOFT, SoftLimit
from finishlab.logbook.archive import json_schema
from finishlab.mend.documents import FAULTS
from finishlab.quality import DOUBTS
from finishlab.recipe import LITRES, Label
from finishlab.units import COMMON_PRACTICE, LIKELY

DOCS: Final = Path(__file__).parent
SHELLS: Final = (
    ("bash 4.4 or later", 'eval "$(_FINISHLAB_COMPLETE=bash_source finishlab)"', "~/.bashrc"),
    ("zsh", 'eval "$(_FINISHLAB_COMPLETE=zsh_source finishlab)"', "~/.zshrc, after compinit"),
    ("fish", "_FINISHLAB_COMPLETE=fish_source finishlab \\| source", "~/.config/fish/config.fish"),
)
"""Shell, the line that makes Tab complete, and where it is put for good."""
NOTE: Final = "<!-- Made by docs/build_reference.py; do not edit. -->\n\n"


class Rule(NamedTuple):
    """What refuses a record where no two bounds say it."""

    section: str
    field: str
    words: str
    rule: str
    low: float | None = None
    high: float | None = None

    @property
    def hint(self) -> str:
        """What may be given."""
        return f"Give {self.rule}."


BOARD_LIMITS: Final[tuple[HardLimit | Rule, ...]] = (
    Rule("board", "date", "day", "a day that is not in the future"),
    Rule("board", "purpose", "purpose", "one of the list"),
    Rule("board", "state", "state", "one of the list"),
    HardLimit("board", "coats", "number of stain coats", low=0, high=MAX_COATS),
)
CAN_LIMITS: Final[tuple[HardLimit | Rule, ...]] = (
    Rule("can", "kind", "kind of can", "one of the list"),
    *LITRES.values(),
    Rule("can", "left_l", "rest against its size", "no more left than the can holds"),
    Rule("can", "opened", "day it was opened", "a day that is not in the future"),
)
RULES: Final = {
    ("preparation", "grits"): ("order of the grits", "the grits from coarse to fine, such as 80-100-120"),
    ("label", "coverage_high_m2_per_l"): ("order of the coverage", "the lower figure first"),
    ("label", "recoat_within_h"): ("order of the recoat window", "an end that is not before its start"),
}
"""What holds of a section beyond each field's own bounds."""


def section_limits(section: type[Section]) -> Iterator[HardLimit | Rule]:
    """Give what refuses a section, field by field: bounds, the lists of choices, and rules of its own."""
    for each in specs(section):
        if each.limit is not None:
            yield each.limit
        elif each.form == "choice":
            yield Rule(section.SECTION, each.name, each.label, "one of the list")
        if (section.SECTION, each.name) in RULES:
            yield Rule(section.SECTION, each.name, *RULES[section.SECTION, each.name])


def walk(command: click.Command, context: click.Context) -> Iterator[tuple[str, click.Command, click.Context]]:
    """Give a command and, in order, all that stand below it: full name, command and its context."""
    yield context.command_path, command, context
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            if below is not None and not below.hidden:
                yield from walk(below, click.Context(below, info_name=name, parent=context, **below.context_settings))


def commands() -> Iterator[tuple[str, click.Command, click.Context]]:
    """Give every command of the tool."""
    yield from walk(finishlab, click.Context(finishlab, info_name="finishlab", **finishlab.context_settings))


def commands_page() -> str:
    """Return docs/commands.md, laid out here and not by click, whose layout differs between its versions."""
    parts = [
        "# Commands\n\n",
        NOTE,
        "What each command says under `--help`. Results go to stdout, talk to stderr; `--json` prints one document. ",
        "Exit codes: 0 done, 1 another failure, 2 usage, 3 a photo cannot be read, 4 no strip and no grey given, ",
        "5 measured but refused on quality, 6 logbook.\n\n",
        "`--logbook DIR` may stand before or after the command. The letter before a number may be left out where only ",
        "one kind of thing can be meant: `board show 1`. On a terminal heads are bold and colours are drawn; a pipe ",
        "gets plain text, and `NO_COLOR=1` leaves colours out.\n\n",
        "The Tab key completes commands, options, and what is logged: boards, floor spots, recipes, cans, trials, ",
        "strips, cameras, lights and stair parts. One line makes it so, for good in the shell's start file:\n\n",
        "| shell | line | file |\n|---|---|---|\n",
        *(f"| {shell} | `{line}` | `{file}` |\n" for shell, line, file in SHELLS),
    ]
    for path, command, context in commands():
        parts.append(f"\n## `{path}`\n\n`{path} {' '.join(command.collect_usage_pieces(context))}`\n\n")
        parts.append(f"{inspect.cleandoc(command.help or '')}\n")
        options = [option_row(each) for each in command.params if isinstance(each, click.Option) and not each.hidden]
        if options:
            parts.append("\n| option | what it is | unless given |\n|---|---|---|\n" + "".join(options))
        examples: tuple[str, ...] = getattr(command, "examples", ())
        if examples:
            parts.append("\n```\n" + "".join(f"{line}\n" for line in examples) + "```\n")
    return "".join(parts)


def option_row(option: click.Option) -> str:
    """Return an option's line in its command's table."""
    if option.is_flag:
        value = ""
    elif option.metavar:
        value = f" {option.metavar}"
    elif isinstance(option.type, click.Choice):
        value = " " + "|".join(str(choice) for choice in option.type.choices)
    else:
        value = f" {option.type.name.upper()}"
    default = option.show_default
    shown = default if isinstance(default, str) else str(option.default) if default else ""
    cells = (f"`{', '.join(option.opts)}{value}`", " ".join((option.help or "").split()), shown)
    return "| " + " | ".join(cell.replace("|", "\\|") for cell in cells) + " |\n"


def doubts_page() -> str:
    """Return docs/doubts.md."""
    parts = [
        "# Doubts\n\n",
        NOTE,
        "What can make a figure less than certain. A doubt does not stop a measurement; it is printed beside the ",
        'result, and stands in JSON as `{"code": ..., "message": ...}`. Words in *italics* are figures of the photo ',
        "at hand.\n\n",
        "| code | what it is | what it says |\n|---|---|---|\n",
    ]
    for kind in DOUBTS.values():
        sentence = re.sub(r"\{(\w+)[^}]*\}", r"*\1*", kind.sentence).replace("|", "\\|")
        parts.append(f"| `{kind.code}` | {kind.title} | {sentence} |\n")
    return "".join(parts)


SECTIONS: Final[dict[str, tuple[type[Section], str]]] = {
    **{part.option: (part.section, ", one a coat, in order" if part.several else "") for part in FINISH_PARTS},
    "label": (Label, " of a can"),
}
"""Option of a section -> its type, and what is said beside the option."""
FORMS: Final = {
    "flag": "yes or no",
    "count": "whole number",
    "grits": "from coarse to fine, 80-100-120",
    "size": "length x width x thickness",
    "ratio": "10:1",
    "mix": "2 honey + 1 walnut",
    "can": "C3",
    "unit": "kept with what was typed",
}


def finish_page() -> str:
    """Return docs/finish-record.md: every field of a finish with its unit, and every limit."""
    parts = [
        "# The finish record\n\n",
        NOTE,
        "Every field may be left out. Fields are typed as `field=value`, separated by semicolons, after the option of ",
        "their section; what stands first without an equals sign is the kind. A figure may carry another unit (`6in`, ",
        "`1 1/16 in`, `30 min`, `70F`, `1qt`); an empty value takes a field out.\n\n",
        "In a file for `--from` a field has its stored name: in TOML in a table of its section (`[preparation]`, a ",
        "`[[steps]]` for each step), in CSV as the head of a column (`preparation.grits`, `steps.1.kind`). `finishlab ",
        "board import FILE.csv` logs every row as a board, all or none; their photos are added afterwards.\n",
    ]
    for option, (section, beside) in SECTIONS.items():
        name = section.SECTION if section.SECTION != "measure" else option
        parts.append(f"\n## {name.capitalize()}\n\n`--{option}`{beside}\n\n")
        parts.append("| field | what it is | unit or form | hard limits | stored as |\n|---|---|---|---|---|\n")
        parts += [field_row(each) for each in specs(section, units=True)]
    hard = (*BOARD_LIMITS, *(row for section, _ in SECTIONS.values() for row in section_limits(section)), *CAN_LIMITS)
    parts += ["\n## Hard limits\n\nA value beyond is refused, and the record stays as it was.\n\n"]
    parts += ["| part | what | given must be | source |\n|---|---|---|---|\n"]
    parts += [f"| {row.section} | {row.words} | {row.hint[5:-1]} | {COMMON_PRACTICE} |\n" for row in hard]
    parts += ["\n## Soft limits\n\nA value beyond is kept, and told once. Words in *italics* are the record's.\n\n"]
    parts += ["| code | part | bounds | what it says | source |\n|---|---|---|---|---|\n"]
    parts += [soft_row(row) for row in SOFT]
    parts.append(
        "\n## Lengths without a unit\n\nThey are millimetres, and must then lie within these bounds: what lies beyond "
        "is refused with the unit that was likely meant. With its unit a length is taken as it is, and what was typed "
        "in inches is shown in inches.\n\n| of | what | millimetres | source |\n|---|---|---|---|\n"
    )
    parts += [
        f"| {kind} | {field} | {low:g} to {high:g} | {COMMON_PRACTICE} |\n"
        for (kind, field), (low, high) in LIKELY.items()
    ]
    return "".join(parts)


def field_row(each: FieldSpec) -> str:
    """Return a field's line in its section's table."""
    listed = f"one of: {', '.join(each.choices)}" if each.form == "choice" else f"e.g. {', '.join(each.choices)}"
    form = each.unit or FORMS.get(each.form) or (listed if each.choices else "")
    hint = "" if each.limit is None else each.limit.hint[5:-1]
    key = "" if each.form == "unit" else f"`{each.key}`"
    return f"| {key} | {each.label} | {form} | {hint} | `{each.name}` |\n"


def soft_row(row: SoftLimit) -> str:
    """Return a soft limit's line."""
    bounds = " to ".join(f"{bound:g}" for bound in (row.low, row.high) if bound is not None)
    words = "from " if row.high is None else "up to " if row.low is None else ""
    shown = words + bounds if bounds else ""
    sentence = re.sub(r"\{(\w+)[^}]*\}", r"*\1*", row.sentence)
    return f"| `{row.code}` | {row.section} | {shown} | {sentence} | {row.source} |\n"


def coatings_page() -> str:
    """Return docs/coatings.md: kinds with their usual figures, which holds on which, woods, and what goes wrong."""
    heads = (
        "kind", "for", "covers, m2/L a coat", "coats", "next coat, h", "under another, h", "walk in socks, h",
        "use, days", "cured, days", "rub out", "put on at, C", "up to, % RH", "hardener", "rags can catch fire",
    )  # fmt: skip
    parts = [
        "# Coatings and woods\n\n",
        NOTE,
        "The trade as the tool has it. **Common practice, no source**, unless marked; label and safety data sheet ",
        "always win. Times hold at about 21 C and 50 % relative humidity.\n\n## Kinds\n\n",
        f"| {' | '.join(heads)} |\n|{'---|' * len(heads)}\n",
        *(coating_row(each) for each in COATINGS.values() if each.usual is not None),
        "\n## Which follows which\n\nThe row lies below, the column above. *Wait*: the hours under another; *test*: ",
        "on an offcut first. It is said where a board or recipe is entered and where it is planned.\n\n",
    ]
    kinds = [each.kind for each in COATINGS.values() if each.usual is not None]
    parts += [f"| below | {' | '.join(kinds)} |\n|---|{'---|' * len(kinds)}\n"]
    parts += [f"| {below} | {' | '.join(follow(below, above).verdict for above in kinds)} |\n" for below in kinds]
    parts += ["\n| below | above | | why | source |\n|---|---|---|---|---|\n"]
    for each in FOLLOWS:
        sides = (", ".join(side) or "anything" for side in (each.below, each.above))
        parts.append(f"| {' | '.join(sides)} | {each.verdict} | {each.reason} | {each.source} |\n")
    parts += [
        "\n## Woods\n\n| wood | also | blotches under stain | tannin | oily | finest grit before stain | source |\n"
    ]
    parts += ["|---|---|---|---|---|---|---|\n"]
    for wood in WOODS.values():
        yes = ["yes" if said else "" for said in (wood.blotches, wood.oily)]
        cells = (wood.name, ", ".join(wood.also), yes[0], wood.tannin, yes[1], f"{wood.finest}", wood.source)
        parts.append(f"| {' | '.join(cells)} |\n")
    parts.append(f"\nA wood that is not in the table: {FINEST}.\n\n## Years later\n\n")
    parts += [f"- **{each.kind}**: {each.mends}\n" for each in COATINGS.values() if each.mends]
    parts.append(
        "\n## When it went wrong\n\n`finishlab mend FAULT --part PART` tells each in full, with what is logged.\n\n"
    )
    parts.append("| fault | how it looks | why | first | never | source |\n|---|---|---|---|---|---|\n")
    for fault in FAULTS.values():
        told = (fault.name, fault.look, fault.why, " ".join(fault.first), " ".join(fault.never), fault.source)
        parts.append(f"| {' | '.join(told)} |\n")
    return "".join(parts)


def coating_row(each: Coating) -> str:
    """Return a kind's line in the table of kinds."""
    usual = each.figures
    pairs = (usual.coverage, usual.recoat_h, usual.under_other_h, usual.use_d, usual.cure_d, usual.air_c)
    covers, recoat, under, use, cure, air = ("" if pair is None else span(*pair) for pair in pairs)
    rub = "each coat" if usual.rub_out else "" if usual.window_h is None else f"after {usual.window_h:g} h"
    cells = (
        each.kind, each.role, covers, f"{usual.coats}", recoat, under, f"{usual.walk_on_h:g}", use, cure, rub, air,
        f"{usual.most_rh:g}", each.hardener, "yes" if each.oily else "",
    )  # fmt: skip
    return f"| {' | '.join(cells)} |\n"


def span(low: float, high: float) -> str:
    """Return a range in words: ``5-15``; ``30`` for one figure."""
    return f"{low:g}" if low == high else f"{low:g}-{high:g}"


def decisions_page() -> str:
    """Return docs/decisions/README.md."""
    lines = ["# Decisions\n\n", NOTE, "What was decided, why, what was measured, and what was tried and left.\n\n"]
    for page in sorted((DOCS / "decisions").glob("[0-9]*.md")):
        number, title = page.read_text(encoding="utf-8").splitlines()[0].removeprefix("# ").split(". ", 1)
        lines.append(f"{number}. [{title}]({page.name})\n")
    return "".join(lines)


def schema_page() -> str:
    """Return docs/logbook.schema.json."""
    return json.dumps(json_schema(), indent=1, sort_keys=True) + "\n"


PAGES: Final = {
    "commands.md": commands_page,
    "doubts.md": doubts_page,
    "finish-record.md": finish_page,
    "coatings.md": coatings_page,
    "decisions/README.md": decisions_page,
    "logbook.schema.json": schema_page,
}


def main() -> None:
    """Write the pages."""
    for name, make in PAGES.items():
        (DOCS / name).write_text(make(), encoding="utf-8")
        print(f"docs/{name}")


if __name__ == "__main__":
    main()
