"""``roomlink/drivers/README.md`` says what the drivers do, and the example venue of real protocols is sound.

``python -m tests.drivers.test_documentation`` writes the tables of keys anew.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, get_args

import annotated_types
import pytest
from pydantic import BaseModel
from ruamel.yaml import YAML

from roomlink.cli import main
from roomlink.core.durations import PATTERN
from roomlink.drivers.port import PointFault, Value
from roomlink.drivers.registry import BUILT_IN, Registry
from roomlink.drivers.schema import duration, keys_of
from roomlink.drivers.text.pattern import TYPES, Pattern

ROOT = Path(__file__).parents[2]
PAGE = ROOT / "roomlink" / "drivers" / "README.md"
EXAMPLE = ROOT / "config" / "protocols"

BLOCK = re.compile(r"(<!-- (keys|conformity) (\S+)(?: (\S+))? -->\n).*?(<!-- end -->)", re.DOTALL)
REGISTRY = Registry.of(plugins=())
# YAML 1.2, as the venue is read: on and off are no truth values, and stay the keys that they are.
YAML_1_2 = YAML(typ="safe", pure=True)


def page() -> str:
    return PAGE.read_text(encoding="utf-8")


def section(name: str) -> str:
    """What stands under a heading of the second order."""
    found = re.search(rf"^## {re.escape(name)}\n(.*?)(?=^## |\Z)", page(), re.DOTALL | re.MULTILINE)
    assert found, f"there is no section {name}"
    return found[1]


def filled(text: str) -> str:
    """The page with every block made anew from the drivers."""

    def made(found: re.Match[str]) -> str:
        _, kind, name, place = found.group(1, 2, 3, 4)
        driver = REGISTRY.find(name)
        content = driver.conformity if kind == "conformity" else table(getattr(driver, PLACES[place]))
        return f"{found[1]}{content}\n{found[5]}"

    return BLOCK.sub(made, text)


PLACES = {"device": "config", "point": "point"}


def table(model: type[BaseModel]) -> str:
    head = ["| Key | Takes | If left out | Meaning |", "|---|---|---|---|"]
    return "\n".join([*head, *(f"| {' | '.join(row)} |" for row in rows(model, keys_of(model), ""))])


def rows(model: type[BaseModel], schema: dict[str, Any], before: str) -> Iterator[list[str]]:
    """A row a key; the keys of a part follow the key that holds it."""
    defs = schema.get("$defs", {})
    for (written, key), field in zip(schema["properties"].items(), model.model_fields.values(), strict=True):
        inner = parts(field.annotation)
        lasting = [note for note in field.metadata if isinstance(note, annotated_types.Ge | annotated_types.Le)]
        bounds = {type(note).__name__: getattr(note, type(note).__name__.lower()) for note in lasting}
        required = written in schema.get("required", ())
        yield [
            f"`{before}{written}`",
            takes(key, bounds).replace("|", "\\|"),
            "required" if required else left_out(key),
            sentence(key.get("description", "")),
        ]
        if inner is not None:
            place = {"array": "[].", "object": ".*."}.get(key.get("type", ""), ".")
            yield from rows(inner, {**defs[inner.__name__], "$defs": defs}, f"{before}{written}{place}")


def parts(annotation: object) -> type[BaseModel] | None:
    """The model that a key holds, alone, in a list or in a mapping."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next((found for inner in get_args(annotation) if (found := parts(inner))), None)


def takes(key: dict[str, Any], bounds: dict[str, float]) -> str:
    """What may be written, in words."""
    if "anyOf" in key:
        kinds = [takes(one, bounds) for one in key["anyOf"] if one.get("type") != "null"]
        numbers = {"whole number", "number"} <= set(kinds)
        return " or ".join(kind for kind in kinds if not (numbers and kind == "whole number"))
    if "$ref" in key:
        return "keys of its own"
    if "enum" in key:
        return ", ".join(f"`{word}`" for word in key["enum"])
    if key.get("pattern") == PATTERN:
        return "duration" + span({name: duration(value) for name, value in bounds.items() if value})
    if key.get("type") in ("integer", "number"):
        low, high = key.get("minimum"), key.get("maximum")
        words = {"Gt": key.get("exclusiveMinimum"), "Ge": low, "Le": high}
        given = {name: f"{value:.10g}" for name, value in words.items() if value is not None}
        return {"integer": "whole number", "number": "number"}[key["type"]] + span(given)
    if key.get("type") == "array":
        return f"list, at most {key['maxItems']}"
    if key.get("type") == "object":
        return "mapping" + (f", at most {key['maxProperties']}" if "maxProperties" in key else "")
    return {"string": "text", "boolean": "`true`, `false`"}.get(key.get("type", ""), "anything")


def span(bounds: dict[str, str]) -> str:
    low, above, high = bounds.get("Ge"), bounds.get("Gt"), bounds.get("Le")
    if low is not None and high is not None:
        return f", {low} to {high}"
    if above is not None:
        return f", above {above}" + (f", at most {high}" if high is not None else "")
    return f", at most {high}" if high is not None else f", at least {low}" if low is not None else ""


def left_out(key: dict[str, Any]) -> str:
    default = key.get("default")
    if default is None or default == "":
        return ""
    # 40, not 40.0: people write it so.
    plain = int(default) if isinstance(default, float) and default.is_integer() else default
    return f"`{json.dumps(plain).strip(chr(34))}`"


def sentence(text: str) -> str:
    return " ".join(text.replace("``", "`").split()).rstrip(".").replace("|", "\\|")


def examples() -> Iterator[Any]:
    for name in BUILT_IN:
        for number, text in enumerate(re.findall(r"^```yaml\n(.*?)^```", section(name), re.DOTALL | re.MULTILINE)):
            yield pytest.param(name, text, id=f"{name}-{number}")


def uses(tree: object) -> Iterator[tuple[str, dict[str, Any]]]:
    """Device and point of everything in an example that names both."""
    if isinstance(tree, dict):
        for member in ("point", "open", "close"):
            if "device" in tree and isinstance(tree.get(member), dict):
                yield tree["device"], tree[member]
        for inner in tree.values():
            yield from uses(inner)
    elif isinstance(tree, list):
        for inner in tree:
            yield from uses(inner)


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_driver_has_a_section_with_its_conformity_and_both_tables(name: str) -> None:
    """And says what is confirmed, what happens on loss, and where it ends."""
    text = section(name)
    for wanted in (
        f"<!-- conformity {name} -->",
        f"<!-- keys {name} device -->",
        f"<!-- keys {name} point -->",
        "**Confirmed:**",
        "**Loss",
        "**Limits:**",
        "```yaml",
    ):
        assert wanted in text, f"{name}: {wanted} is missing"


def test_the_tables_are_what_the_models_give() -> None:
    """After a change: python -m tests.drivers.test_documentation."""
    assert page() == filled(page())


@pytest.mark.parametrize("name", BUILT_IN)
def test_every_key_of_every_model_is_on_the_page(name: str) -> None:
    """Looked up in the models themselves, also those within others."""
    driver, text = REGISTRY.find(name), section(name)

    def look(model: type[BaseModel]) -> None:
        for key, field in model.model_fields.items():
            assert re.search(rf"^\| `(\S+\.)?{field.alias or key}` \|", text, re.MULTILINE), f"{name}: {key}"
            if inner := parts(field.annotation):
                look(inner)

    look(driver.config)
    look(driver.point)


@pytest.mark.parametrize(("name", "text"), list(examples()))
def test_every_example_on_the_page_is_taken_by_its_driver(name: str, text: str) -> None:
    """The device, each of its points, and all of them together."""
    tree = YAML_1_2.load(text)
    (device, raw), *others = tree["devices"].items()
    assert (raw["driver"], others) == (name, [])
    driver, config = REGISTRY.parse_device(device, raw)
    points = [REGISTRY.parse_point(driver, point) for at, point in uses(tree) if at == device]
    assert points
    REGISTRY.make_device(driver, config, points)


def pattern_rows() -> list[list[str]]:
    block = re.search(r"<!-- patterns -->\n(.*?)<!-- end -->", page(), re.DOTALL)
    assert block
    return [re.findall(r"`(.*?)` \|", line) for line in block[1].splitlines()[2:]]


@pytest.mark.parametrize("row", pattern_rows(), ids=lambda row: row[3])
def test_the_worked_patterns_write_and_read_what_the_page_says(row: list[str]) -> None:
    """Each line there and back."""
    pattern = Pattern(row[0], json.loads(row[1]))
    value = json.loads(row[2])
    assert pattern.write({"value": value}) == row[3]
    assert pattern.read(row[3]) == {"value": value}


async def test_the_conversation_on_the_page_is_what_the_driver_says_and_hears() -> None:
    """Over TCP, with a device that says what the page says, and nothing else."""
    block = re.search(r"^```text\n(.*?)^```", section("text"), re.DOTALL | re.MULTILINE)
    example = re.findall(r"^```yaml\n(.*?)^```", section("text"), re.DOTALL | re.MULTILINE)[-1]
    assert block
    said = re.findall(r"^(we|device): +(.*?)(?:   .*)?$", block[1], re.MULTILINE)
    assert said[-1][0] == "device"

    async def order(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> str:
        """The next line that is no ping; those are answered at any time."""
        while (line := (await reader.readuntil(b"\r\n")).decode().rstrip()) == "ping":
            writer.write(b"pong\r\n")
        return line

    async def converse(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        for who, line in said:
            if who == "device":
                writer.write(f"{line}\r\n".encode())
            else:
                wrote.append(await order(reader, writer))
        with contextlib.suppress(asyncio.IncompleteReadError):
            await order(reader, writer)
        writer.close()

    wrote: list[str] = []
    heard: asyncio.Queue[tuple[str, Value]] = asyncio.Queue()
    tree = YAML_1_2.load(example)
    async with await asyncio.start_server(converse, "127.0.0.1", 0) as server:
        raw = {**tree["devices"]["stagebox"], "host": "127.0.0.1", "port": server.sockets[0].getsockname()[1]}
        driver, config = REGISTRY.parse_device("stagebox", raw)
        points = [REGISTRY.parse_point(driver, point) for _, point in uses(tree)]
        level, rail, feed = (driver.point_name(config, point) for point in points)
        device = REGISTRY.make_device(driver, config, points)
        await device.connect(lambda point, value: heard.put_nowait((point, value)))
        serving = asyncio.create_task(device.serve())
        try:
            async with asyncio.timeout(5):
                assert await device.send({level: -20.0}) == {level}
                with pytest.raises(PointFault, match="rail is locked"):
                    await device.send({rail: True})
                assert await heard.get() == (feed, "laptop")
        finally:
            serving.cancel()
            await asyncio.gather(serving, return_exceptions=True)
            await device.close()
    assert wrote == [line for who, line in said if who == "we"]


def test_three_patterns_are_worked_and_every_type_is_explained() -> None:
    """Also those that the examples do not use."""
    assert len(pattern_rows()) == 3
    assert set(TYPES) <= set(re.findall(r"^\| `([a-z-]+)` \|", section("text").partition("### Patterns")[2], re.M))


def test_every_relative_link_leads_somewhere() -> None:
    """Files, and headings of the page."""
    headings = {h.lower().replace(" ", "-") for h in re.findall(r"^##+ (.+)$", page(), re.MULTILINE)}
    for target in re.findall(r"\]\(([^)]+)\)", page()):
        assert target[1:] in headings if target.startswith("#") else (PAGE.parent / target).exists(), target


def test_the_example_venue_has_nothing_to_correct(capsys: pytest.CaptureFixture[str]) -> None:
    """`roomlink check config/protocols`: neither errors nor warnings."""
    assert main(["check", str(EXAMPLE), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["findings"] == []


def test_the_example_venue_shows_six_protocols_and_each_class_of_binding() -> None:
    """With a wall by contacts, one by report, and a fire override."""
    tree: dict[str, Any] = {}
    for file in sorted(EXAMPLE.glob("*.yaml")):
        for section, part in YAML_1_2.load(file.read_text(encoding="utf-8")).items():
            # A section may be spread over files, as the loader reads them.
            tree[section] = part if section not in tree else tree[section] | part
    assert {d["driver"] for d in tree["devices"].values()} == {"e131", "osc", "modbus", "mqtt", "pjlink", "text"}
    assert {binding.get("class", "signal") for binding in tree["bindings"]} == {"signal", "power", "motion"}
    assert {("contacts" in wall, "report" in wall) for wall in tree["partitions"].values()} == {
        (True, False),
        (False, True),
    }
    fire = tree["overrides"]["fire"]
    assert tree["devices"][fire["input"]["device"]]["driver"] == "modbus"


if __name__ == "__main__":
    PAGE.write_text(filled(page()), encoding="utf-8")
