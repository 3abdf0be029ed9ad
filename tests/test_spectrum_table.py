"""Spectral tables as people have them: units, separators, encodings; a sentence per mistake."""

import time

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from canopysim.errors import CanopysimError
from canopysim.light.spectrum.headings import COLUMNS
from canopysim.light.spectrum.spectrum import Spectrum
from canopysim.light.spectrum.table import MOST_ROWS, parse_spectrum, read_spectrum

ROWS = ((400.0, 0.5), (455.5, 2.0), (700.0, 0.25))


def text_of(header, separator=",", end="\n"):
    lines = [header] if header else []
    lines += [f"{nm}{separator}{value}" for nm, value in ROWS]
    return end.join(lines) + end


POWER = Spectrum.of_power(*zip(*ROWS, strict=True), "umol/s")
PHOTONS = Spectrum.of_photons(*zip(*ROWS, strict=True), "umol/s")


@pytest.mark.parametrize(
    ("header", "unit", "per_row"),
    [
        ("wavelength_nm, W/nm", "umol/s", ("power", 1)),
        ("nm, mW nm^-1", "umol/s", ("power", 1e-3)),
        ("Wavelength (nm), Irradiance (W m⁻² nm⁻¹)", "umol/m2/s", ("power", 1)),
        ("wavelength [nm], irradiance [W/(m²·nm)]", "umol/m2/s", ("power", 1)),
        ("λ/nm, mW/m2/nm", "umol/m2/s", ("power", 1e-3)),
        ("nanometres, µW/cm²/nm", "umol/m2/s", ("power", 1e-2)),
        ("nm, umol/s/nm", "umol/s", ("photons", 1)),
        ("nm, spectral photon flux μmol per s per nm", "umol/s", ("photons", 1)),
        ("lambda_nm, photon_flux_umol_m-2_s-1_nm-1", "umol/m2/s", ("photons", 1)),
        ("nm, relative W", "relative", ("power", 1)),
        ("nm, Rel. spectral power (a.u.)", "relative", ("power", 1)),
        ("nm, relative photons", "relative", ("photons", 1)),
        ("nm, normalised photon flux", "relative", ("photons", 1)),
    ],
)
def test_headers_name_what_is_straight_and_in_what_unit(header, unit, per_row):
    spectrum = parse_spectrum(text_of(header), "lamp.csv")
    assert spectrum.unit == unit
    basis, factor = per_row
    expected = (POWER if basis == "power" else PHOTONS).scaled(factor)
    for measure in ("photons_per_nm", "power_per_nm"):
        x = [400.0, 430.0, 455.5, 650.0]
        values = getattr(spectrum, measure)(x)
        np.testing.assert_allclose(values, getattr(expected, measure)(x), rtol=1e-14)


@pytest.mark.parametrize("unit", COLUMNS)
def test_a_unit_by_argument_reads_as_one_by_header(unit):
    by_header = parse_spectrum(text_of(f"nm,{unit}"), "lamp.csv")
    assert by_header == parse_spectrum(text_of(""), "lamp.csv", unit)
    assert by_header == parse_spectrum(text_of("wavelength_nm, value"), "lamp.csv", unit)
    assert by_header == parse_spectrum(text_of(f"nm,{unit}"), "lamp.csv", unit)


@pytest.mark.parametrize("separator", [",", ";", "\t", " , ", " ;"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_separators_and_line_ends(separator, end):
    text = text_of(f"nm{separator}W/nm", separator, end)
    assert parse_spectrum(text, "lamp.csv") == POWER


def test_comments_blank_lines_quotes_and_empty_last_columns():
    text = (
        '\ufeff# a lamp, W/m2\n\n"wavelength, nm";"W/nm"\n 400 ; .5 ;;\n'
        "  # between\n455.5;2.;\n+700;2.5E-001\n\n"
    )
    assert parse_spectrum(text, "lamp.csv") == POWER


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252"])
def test_files_in_the_usual_encodings(tmp_path, encoding):
    path = tmp_path / "lamp.csv"
    path.write_bytes(text_of("nm, µmol/s/nm").encode(encoding))
    assert read_spectrum(path) == PHOTONS


def table(*rows, header="nm,W/nm"):
    return "\n".join([header, *rows]) + "\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "1: no rows; write wavelength and value"),
        ("# only a comment\n", "1: no rows"),
        ("400,1\n500,1\n", "1: nothing says what the values are; write a first line such as"),
        (table(), "1: no row of numbers; a spectrum needs at least 2"),
        (table("400,1"), "1: 1 row of numbers; a spectrum needs at least 2"),
        (table("400,1", "500,-0.001"), "3: '-0.001' is negative for the value; write 0 where"),
        (table("400,1", "-500,1"), "3: '-500' is negative for the wavelength; give it in nm"),
        (table("400,1", "500,NaN"), "3: 'NaN' is no number for the value; leave out the row"),
        (table("400,1", "500,inf"), "3: 'inf' is no number for the value"),
        (table("400,1", "500,"), "3: '' is no number for the value"),
        (table("400,1", "n/a,1"), "3: 'n/a' is no number for the wavelength"),
        (table("400,1", "500,1.2.3"), "3: '1.2.3' is not a number for the value; write it as in"),
        (table("400,1", "500,0x10"), "3: '0x10' is not a number"),
        (table("400,1", "500,1e999"), "3: '1e999' is too large for the value; at most 1e+12"),
        (table("400,1", "500,1", "450,1"), "4: wavelength 450 nm comes after 500 nm; sort the"),
        (table("400,1", "500,1", "500.0,2"), "4: wavelength 500.0 nm is there twice; keep one"),
        (table("0.4,1", "0.7,1"), "2: wavelength 0.4 is outside 100-4000 nm; is it in µm?"),
        (table("400,1", "7000,1"), "3: wavelength 7000 is outside 100-4000 nm; is it in nm?"),
        (table("1200,1", "2500,1"), "1: no light within 300-1100 nm; the table covers 1200-2500"),
        (table("300,0", "1100,0", "1200,1"), "1: no light within 300-1100 nm"),
        (table("400,0", "500,0"), "1: no value above 1e-12: no light; is it the right column?"),
        (table("400,1", "500,1,2"), "3: 3 columns between commas where a spectrum has two"),
        (table("400;0,5", header="nm;W/nm"), "1: 1 row of numbers"),
        (
            table("400;0,5", "500;1", header="nm;W/nm"),
            "2: '0,5' has a decimal comma; write it with a point, '0.5'",
        ),
        (table("400,5,0,5"), "2: 4 columns between commas where a spectrum has two"),
        (table("400,1", "500;1"), "3: 1 column between commas"),
        (table("400 1"), "2: 1 column between commas"),
        ("400 1\n500 1\n", "1: '400 1' is one column; put a comma, a semicolon or a tab"),
        (table("400,1", "5" * 500 + ",1"), "3: longer than 400 characters"),
        (table("400,1", header="wavelength,W/nm"), "1: 'wavelength' does not say that wavelengths"),
        (table("0.4,1", header="um,W/nm"), "1: 'um': wavelengths are in nm, not in µm; multiply"),
        (table("4000,1", header="Angstrom,W/nm"), "1: 'Angstrom': wavelengths are in nm, not in"),
        (table("400,1", header="nm,value"), "1: 'value' does not name a unit; write one of W/nm,"),
        (table("400,1", header="nm,relative"), "1: 'relative' does not say relative what; write"),
        (table("400,1", header="nm,lm/nm"), "1: 'lm/nm' is weighed for human eyes; a spectrum"),
        (table("400,1", header="nm,counts"), "1: 'counts' is not calibrated"),
        (table("400,1", header="nm,J/nm"), "1: 'J/nm' is energy, not power; a spectrum is in one"),
        (table("400,1", header="nm,W"), "1: 'W' is not per nm, or not a unit of a spectrum"),
        (table("400,1", header="nm,umol/s"), "1: 'umol/s' is not per nm"),
        (table("400,1", header="nm,W/m3/nm"), "1: 'W/m3/nm' is not per nm, or not a unit"),
    ],
)
def test_each_mistake_has_its_line_and_its_sentence(text, message):
    with pytest.raises(CanopysimError) as caught:
        parse_spectrum(text, "lamp.csv")
    told = str(caught.value)
    assert told.startswith("lamp.csv:" + message)
    assert "\n" not in told


def test_a_header_and_an_argument_that_differ():
    with pytest.raises(CanopysimError, match=r"^lamp.csv:1: the header says W/nm, but umol/s/nm"):
        parse_spectrum(text_of("nm,W/nm"), "lamp.csv", "umol/s/nm")
    with pytest.raises(CanopysimError, match=r"^lamp.csv:1: 'lux' is weighed for human eyes"):
        parse_spectrum(text_of("nm,lux"), "lamp.csv", "umol/s/nm")
    with pytest.raises(ValueError, match=r"'watts' is not a unit of a spectrum; known: W/nm"):
        parse_spectrum(text_of(""), "lamp.csv", "watts")


def test_lines_are_counted_as_an_editor_does():
    text = "# one\r\n\r\nnm,W/nm\r\n400,1\x0b\r\n500,x\r\n"
    with pytest.raises(CanopysimError, match=r"^lamp.csv:5: 'x' is not a number"):
        parse_spectrum(text, "lamp.csv")


def test_as_many_rows_as_allowed_and_one_more():
    lines = [f"{300 + i * 0.03:.2f},1" for i in range(MOST_ROWS + 1)]
    start = time.perf_counter()
    spectrum = parse_spectrum("\n".join(lines[:-1]), "long.csv", "W/nm")
    assert time.perf_counter() - start < 10
    assert spectrum.power() == pytest.approx((MOST_ROWS - 1) * 0.03, rel=1e-9)
    with pytest.raises(CanopysimError, match=r"^long.csv:20001: more than 20000 rows"):
        parse_spectrum("\n".join(lines), "long.csv", "W/nm")


def test_files_that_are_no_tables(tmp_path):
    with pytest.raises(CanopysimError, match=r"absent.csv: cannot be read \(No such file"):
        read_spectrum(tmp_path / "absent.csv")
    with pytest.raises(CanopysimError, match=r": cannot be read \("):
        read_spectrum(tmp_path)
    wide = tmp_path / "wide.csv"
    wide.write_bytes(text_of("nm,W/nm").encode("utf-16"))
    with pytest.raises(CanopysimError, match=r"wide.csv: is not a text file in UTF-8"):
        read_spectrum(wide)
    wide.write_bytes(b"#" * 4_000_001)
    with pytest.raises(CanopysimError, match=r"wide.csv: larger than 4 MB"):
        read_spectrum(wide)


CELL = st.one_of(
    st.floats(allow_nan=True).map(str),
    st.integers(-5, 5000).map(str),
    st.text(max_size=12),
    st.sampled_from(["nm", "W/nm", "1,5", "#", '"', "1e-5", "relative W", "x/()", "µ²⁻¹"]),
)


@given(
    st.lists(st.lists(CELL, min_size=1, max_size=3), max_size=6),
    st.sampled_from(",;\t"),
    st.sampled_from([None, *COLUMNS]),
    st.booleans(),
)
def test_any_text_is_a_spectrum_or_a_sentence(rows, separator, unit, headed):
    lines = [separator.join(row) for row in rows]
    text = "\n".join((["nm" + separator + "W/nm"] if headed else []) + lines)
    try:
        spectrum = parse_spectrum(text, "any.csv", unit)
    except CanopysimError as error:
        told = str(error)
        place, _, sentence = told.partition(": ")
        assert place.startswith("any.csv:")
        assert 1 <= int(place.removeprefix("any.csv:")) <= 1 + text.count("\n") + text.count("\r")
        assert len(sentence) > 10
        assert told.isprintable()
    else:
        assert spectrum.photons(300, 1100) > 0
        assert np.isfinite(spectrum.power())


@given(
    st.lists(
        st.tuples(st.integers(3000, 11000), st.integers(0, 10**6)),
        min_size=2,
        max_size=30,
        unique_by=lambda row: row[0],
    ).map(sorted),
    st.sampled_from(list(COLUMNS)),
)
def test_sound_tables_are_read_as_written(rows, unit):
    nm = [row[0] / 10 for row in rows]
    value = [row[1] / 1000 for row in rows]
    if max(value) == 0:
        return
    text = f"nm;{unit}\n" + "".join(f"{a};{b}\n" for a, b in zip(nm, value, strict=True))
    spectrum = parse_spectrum(text, "any.csv")
    column = COLUMNS[unit]
    at_rows = spectrum.power_per_nm(nm) if column.basis == "power" else spectrum.photons_per_nm(nm)
    np.testing.assert_allclose(at_rows, np.multiply(value, column.factor), rtol=1e-12)
