"""Serialising measurements: what goes into the database comes out the same."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from logbook_makers import field, make_photo, measurement

from finishlab.colorimetry.estimate import LabEstimate, SharedEffect
from finishlab.imaging.strip import FIELD_NAMES
from finishlab.logbook.stored import (
    field_from_dict,
    strip_from_dict,
)
from finishlab.logbook.tables import MeasurementRow
from finishlab.measure.results import FieldMeasurement, Measurement, Spread, StripReading, Texture
from finishlab.record import plain

finite = st.floats(-1e6, 1e6)
shares = st.floats(0, 1)
triples = st.tuples(finite, finite, finite)
names = st.text(max_size=20)


@st.composite
def covariances(draw: Callable[..., Any]) -> tuple[tuple[float, float, float], ...]:
    """Any symmetric positive semi-definite matrix, as a Gram matrix."""
    root = np.array([draw(st.tuples(*[st.floats(-100, 100)] * 3)) for _ in range(3)])
    gram = root @ root.T
    gram = (gram + gram.T) / 2
    return tuple((float(r[0]), float(r[1]), float(r[2])) for r in gram)


estimates = st.builds(
    LabEstimate,
    lab=triples,
    own=covariances(),
    shared=st.lists(st.builds(SharedEffect, names, names, triples), max_size=4).map(tuple),
)
measured_fields = st.builds(
    FieldMeasurement,
    name=st.sampled_from(FIELD_NAMES),
    kind=st.sampled_from(["wood", "print"]),
    estimate=estimates,
    spread=st.builds(Spread, finite, finite, covariances()),
    used_share=shares,
    glare_share=shares,
    left_out=st.dictionaries(names, shares, max_size=4),
    # A doubt needs the figures of its own sentence, so these are fixed.
    doubts=st.just(field().doubts),
    texture=st.none() | st.builds(Texture, finite, finite, shares, st.none() | finite, st.none() | finite),
).map(lambda found: replace(found, estimate=replace(found.estimate, wood=found.kind == "wood")))
strips = st.builds(
    StripReading,
    number=st.none() | st.integers(0, 10**6),
    tags_seen=st.integers(0, 6),
    corners=st.lists(st.tuples(finite, finite), min_size=4, max_size=4).map(tuple),
    px_per_mm=finite,
    tilt_deg=finite,
    rotation_deg=finite,
    residual_mm=finite,
)


@given(measured_fields)
def test_a_field_round_trips_through_json(measured: FieldMeasurement) -> None:
    """A field's measurement reads back from its JSON text equal in every float."""
    assert field_from_dict(json.loads(json.dumps(plain(measured), allow_nan=False))) == measured


def test_a_field_stored_before_texture_was_measured() -> None:
    """A field stored without a texture still loads, and has none."""
    old = plain(field())
    del old["texture"]
    assert field_from_dict(old) == replace(field(), texture=None)


@given(strips)
def test_a_strip_round_trips_through_json(reading: StripReading) -> None:
    """Where the strip lay reads back from its JSON text the same."""
    assert strip_from_dict(json.loads(json.dumps(plain(reading), allow_nan=False))) == reading


def test_every_part_of_a_measurement_is_stored(tmp_path: Path) -> None:
    """A part that is added to a measurement type cannot be forgotten here."""
    strip = measurement(make_photo(tmp_path)[1]).strip
    assert strip is not None
    assert set(plain(field())) == {f.name for f in fields(FieldMeasurement)}
    assert set(plain(field())["spread"]) == {f.name for f in fields(Spread)}
    assert set(plain(field())["texture"]) == {f.name for f in fields(Texture)}
    assert set(plain(strip)) == {f.name for f in fields(StripReading)}
    # `photo_id` is stored as the photo, `fields` as the result, `strip` as its reading, `pair` as a row of its own.
    kept = {*MeasurementRow.__table__.c.keys(), "photo_id", "fields", "strip", "pair"}
    assert {f.name for f in fields(Measurement)} <= kept


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | finite | names,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(names, inner, max_size=3),
    max_leaves=8,
)


@given(json_values)
def test_plain_values_stay(value: object) -> None:
    """What JSON can say already is not changed."""
    assert plain(value) == value


def test_settings_become_plain() -> None:
    """Tuples, sets, arrays and NumPy scalars become JSON's types; what is not finite becomes null."""
    free = {
        1: (1.5, float("nan")),
        "b": np.arange(3),
        "c": np.float32(0.5),
        "d": {"y", "x"},
        "e": np.float64("inf"),
        "f": np.int8(3),
    }
    assert plain(free) == {"1": [1.5, None], "b": [0, 1, 2], "c": 0.5, "d": ["x", "y"], "e": None, "f": 3}
    assert json.loads(json.dumps(plain(free), allow_nan=False)) == plain(free)


def test_what_has_no_json_form_is_refused() -> None:
    """An object is not stored as its name."""
    with pytest.raises(TypeError, match="object"):
        plain({"a": object()})
