"""A line saved as .npy opens with the same samples, whatever kind of numbers and order it has."""

import io

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hn

from depthwright.errors import DepthwrightError
from depthwright.files.readers import file_facts, open_file
from depthwright.job import Given

TOLD = Given(dt_ns=0.02, trace_spacing_mm=5.0)
KINDS = st.sampled_from(
    ["<f2", ">f2", "<f4", ">f4", "<f8", ">f8", "i1", "u1", "<i2", ">i2", "<u4", ">i8", "<u8", "?"]
)


def refusal(path, told=TOLD):
    with pytest.raises(DepthwrightError) as caught:
        open_file(path, told)
    assert caught.value.hint.endswith(".")
    return caught.value.message


def saved(tmp_path, array, **how):
    path = tmp_path / "line.npy"
    np.save(path, array, **how)
    return path


@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data(), kind=KINDS, order=st.sampled_from("CF"))
def test_every_kind_and_order_gives_the_same_samples(tmp_path, data, kind, order):
    shape = data.draw(hn.array_shapes(min_dims=2, max_dims=2, min_side=2, max_side=9))
    array = data.draw(
        hn.arrays(kind, shape, elements={"allow_nan": False} if "f" in kind else None)
    )
    path = saved(tmp_path, np.asarray(array, order=order))
    with np.errstate(over="ignore"):
        single = array.astype(np.float32)
    expected = np.where(np.isfinite(single), single, np.float32(0))
    for traces_in, traces in (("rows", expected), ("columns", expected.T)):
        scan = open_file(path, TOLD.model_copy(update={"traces_in": traces_in}))
        np.testing.assert_array_equal(scan.block(0, scan.traces), traces)
        np.testing.assert_array_equal(scan.block(1, scan.traces), traces[1:])


def test_its_facts_say_what_kind_it_is_and_how_it_lies(tmp_path, plain_line):
    samples = plain_line.scan.block(0, plain_line.scan.traces)
    facts = file_facts(saved(tmp_path, np.asfortranarray((1000 * samples.T).astype(">i2"))))
    assert [row.label for row in facts.rows] == [
        "Kind of file", "Size", "Orientation", "Sample interval", "Positions",
    ]  # fmt: skip
    assert facts.rows[0].inferred == "int16 numbers, column by column"
    assert facts.rows[1].inferred == "141 traces of 400 samples"
    assert facts.rows[2].stated == "400 rows of 141 columns"
    assert facts.traces_in == "columns"
    assert facts.needs == ("trace_spacing", "sample_interval")
    assert facts.samples == 400


@pytest.mark.parametrize(("order", "traces_in"), [("C", "rows"), ("F", "columns")])
def test_traces_that_lie_one_by_one_stay_in_the_file(tmp_path, order, traces_in, monkeypatch):
    array = np.random.default_rng(1).normal(size=(40, 60))
    path = saved(tmp_path, np.asarray(array, order=order))
    monkeypatch.setattr("depthwright.files.matrix.MOST_BYTES", 100)
    told = TOLD.model_copy(update={"traces_in": traces_in})
    scan = open_file(path, told)
    expected = (array if traces_in == "rows" else array.T).astype(np.float32)
    np.testing.assert_array_equal(scan.block(3, 9), expected[3:9])
    other = {"rows": "columns", "columns": "rows"}[traces_in]
    assert refusal(path, told.model_copy(update={"traces_in": other})) == (
        "line.npy holds at least 0 MB of samples, more than the 0 MB that are read of such a file."
    )


def test_a_file_that_is_cut_while_it_is_open_ends_in_a_sentence(tmp_path):
    path = saved(tmp_path, np.ones((50, 60)))
    scan = open_file(path, TOLD.model_copy(update={"traces_in": "rows"}))
    path.write_bytes(path.read_bytes()[:2000])
    with pytest.raises(DepthwrightError, match="has changed since it was opened"):
        scan.block(40, 50)


def test_axes_of_length_one_are_left_out(tmp_path):
    array = np.random.default_rng(2).normal(size=(1, 5, 1, 7)).astype(np.float32)
    scan = open_file(saved(tmp_path, array), TOLD.model_copy(update={"traces_in": "rows"}))
    np.testing.assert_array_equal(scan.block(0, 5), array[0, :, 0])
    row = open_file(saved(tmp_path, array[0, :1, 0]), TOLD)
    assert (row.traces, row.samples) == (1, 7)


REFUSED = {
    "complex": (np.ones((3, 4), complex), "holds complex numbers, no plain numbers."),
    "records": (np.zeros((3, 4), [("a", "f4")]), "holds records, no plain numbers."),
    "words": (np.full((3, 4), "a"), "holds words, no plain numbers."),
    "dates": (np.zeros((3, 4), "M8[s]"), "holds dates, no plain numbers."),
    "a row": (np.ones(12), "holds an array of 1 dimensions, no matrix."),
    "a cube": (np.ones((2, 3, 4)), "holds an array of 3 dimensions, no matrix."),
    "nothing": (np.ones((0, 4)), "holds an array with no numbers in it."),
    "one number": (np.ones((1, 1)), "holds a single number."),
}


@pytest.mark.parametrize("what", REFUSED)
def test_what_is_no_matrix_of_numbers_ends_in_a_sentence(tmp_path, what):
    array, words = REFUSED[what]
    assert refusal(saved(tmp_path, array)) == f"line.npy {words}"


def test_objects_are_refused_and_none_of_their_code_is_run(tmp_path):
    ran = []

    class Trap:
        def __reduce__(self):
            return (ran.append, (1,))

    array = np.empty((2, 2), object)
    array[:] = [[1.0, 2.0], [3.0, Trap()]]
    assert refusal(saved(tmp_path, array, allow_pickle=True)) == (
        "line.npy holds Python objects, no plain numbers."
    )
    assert ran == []


@pytest.mark.parametrize("size", [7, 60, 127])
def test_a_header_that_is_cut_is_refused(tmp_path, size):
    path = saved(tmp_path, np.ones((3, 4)))
    path.write_bytes(path.read_bytes()[:size])
    assert refusal(path) == "line.npy is marked as .npy, but its header cannot be read."


def test_samples_that_are_cut_are_refused_and_bytes_behind_them_told(tmp_path):
    path = saved(tmp_path, np.ones((3, 4), np.float32))
    whole = path.read_bytes()
    path.write_bytes(whole[:-1])
    assert refusal(path) == (
        "line.npy is cut short: its header tells of 3 by 4 numbers, and 11 are there."
    )
    path.write_bytes(whole + b"abc")
    assert file_facts(path).rows[1].why == "After the matrix come 3 bytes, which are not read."


def test_newer_versions_of_the_format_are_read(tmp_path):
    array = np.arange(12.0).reshape(3, 4)
    for version in ((1, 0), (2, 0), (3, 0)):
        buffer = io.BytesIO()
        np.lib.format.write_array(buffer, array, version)
        path = tmp_path / "line.npy"
        path.write_bytes(buffer.getvalue())
        scan = open_file(path, TOLD.model_copy(update={"traces_in": "rows"}))
        np.testing.assert_array_equal(scan.block(0, 3), array)
