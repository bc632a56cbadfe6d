"""The user's tables: what they may hold, and complaints that name file, line and column."""

import pytest

from calibration.response import learn_response
from calibration.tables import ChartSpot, Swatch, read_buffers, read_chart
from stripread.card.layout import layout
from stripread.card.measured import measured_values
from stripread.errors import CallError


@pytest.fixture
def folder(tmp_path):
    for name in ("a.jpg", "b.jpg"):
        (tmp_path / name).write_bytes(b"x")
    return tmp_path


def write(folder, text, name="t.csv", encoding="utf-8"):
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def test_buffers(folder):
    path = write(folder, "photo,ph\na.jpg,4.01\n\nb.jpg, 7 \nb.jpg,7\n")
    rows = read_buffers(path)
    assert [(r.name, r.ph, r.ph_sd, r.line) for r in rows] == [
        ("a.jpg", 4.01, 0.02, 2),
        ("b.jpg", 7.0, 0.02, 4),
        ("b.jpg", 7.0, 0.02, 5),
    ]
    assert rows[0].path == folder / "a.jpg"


def test_buffers_by_name_and_temperature(folder):
    path = write(folder, "\ufeffphoto,ph,buffer,temp_c,ph_sd\r\na.jpg,,borax,25,\r\nb.jpg,7.00,borax,25,0.1\r\n")
    named, given = read_buffers(path)
    assert named.ph == pytest.approx(9.18)  # JIS Z 8802 at 25 degrees
    assert named.ph_sd == pytest.approx(0.01)
    assert (given.ph, given.ph_sd) == (7.0, 0.1)


def test_buffers_without_a_ph_column(folder):
    assert read_buffers(write(folder, "photo,buffer,temp_c\na.jpg,phthalate,20\n"))[0].ph == pytest.approx(4.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "is empty"),
        ("photo,ph\n", "no lines"),
        ("picture,ph\na.jpg,4\n", "line 1: no column photo"),
        ("photo,value\na.jpg,4\n", "wanted a column ph"),
        ("photo,ph\na.jpg,four\n", "line 2, column ph: 'four' is not a number"),
        ("photo,ph\na.jpg,4,01\n", "line 2: 3 columns where the head has 2"),
        ('photo,ph\na.jpg,"4,01"\n', "decimal point"),
        ("photo,ph\na.jpg,nan\n", "line 2, column ph"),
        ("photo,ph\na.jpg,40\n", "not between -1 and 15"),
        ("photo,ph\na.jpg,4\nc.jpg,5\n", "line 3, column photo: no such file"),
        ("photo,ph\n,4\n", "line 2, column photo: is empty"),
        ("photo,ph\na.jpg,\n", "line 2, column ph: is empty"),
        ("photo,ph\na.jpg\n", "line 2, column ph: is empty"),
        ("photo,buffer,temp_c\na.jpg,cola,20\n", "line 2, column buffer: no buffer 'cola'"),
        ("photo,buffer,temp_c\na.jpg,carbonate,60\n", "line 2, column temp_c"),
        ("photo,buffer,temp_c\na.jpg,borax,\n", "line 2, column temp_c: is empty"),
        ("photo,ph,ph_sd\na.jpg,4,-1\n", "line 2, column ph_sd"),
    ],
)
def test_complaints_about_buffers(folder, text, words):
    with pytest.raises(CallError) as told:
        read_buffers(write(folder, text))
    assert words in str(told.value)
    assert "t.csv" in str(told.value)
    assert "\n" not in str(told.value)


def test_no_such_table_and_not_a_table(folder):
    with pytest.raises(CallError, match="can't read"):
        read_buffers(folder / "none.csv")
    with pytest.raises(CallError, match="not a CSV"):
        read_buffers(write(folder, "photo,ph\n\u00e9.jpg,4\n", encoding="latin-1"))


def test_chart_of_numbers(folder):
    path = write(folder, "ph,pad,L,a,b\n4,0,60,10,50\n4,1,70,0,0\n7,1,50,1,2\n7,0,40,-30,20\n")
    fields = read_chart(path, 2)
    assert fields[0] == Swatch(4.0, 0, (60.0, 10.0, 50.0))
    assert len(fields) == 4


def test_chart_on_a_photo(folder):
    path = write(folder, "ph,pad,photo,x_mm,y_mm\n4,0,a.jpg,30,35\n7,0,b.jpg,40,35.5\n")
    fields = read_chart(path, 1)
    assert isinstance(fields[1], ChartSpot)
    assert (fields[1].path, fields[1].at_mm) == (folder / "b.jpg", (40.0, 35.5))


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("ph,pad,L,a\n4,0,1,2\n", "no column b"),
        ("ph,pad,photo,x_mm\n4,0,a.jpg,2\n", "no column y_mm"),
        ("ph,pad,L,a,b\n4,2,60,10,50\n", "line 2, column pad: 2 is not between 0 and 1"),
        ("ph,pad,L,a,b\n4,0.5,60,10,50\n", "whole number"),
        ("ph,pad,L,a,b\n4,0,60,10,50\n7,0,60,10,50\n7,1,60,10,50\n", "pH 4 lacks pad 1"),
        ("ph,pad,L,a,b\n4,0,60,10,50\n4,1,60,10,50\n", "two pH values"),
        ("ph,pad,L,a,b\n4,0,160,10,50\n", "column L"),
    ],
)
def test_complaints_about_charts(folder, text, words):
    with pytest.raises(CallError) as told:
        read_chart(write(folder, text), 2)
    assert words in str(told.value)


@pytest.mark.parametrize(
    "data",
    [
        b"photo;ph;ph_sd\r\na.jpg;4,01;0,02\r\nb.jpg;7;\r\n",
        b'"photo";"ph";"ph_sd"\n"a.jpg";"4,01";"0,02"\n"b.jpg";"7";""\n',
        b"\xef\xbb\xbfsep=;\r\nphoto;ph;ph_sd\r\na.jpg;4,01;0,02\r\nb.jpg;7;\r\n",
        b"photo;ph;ph_sd\na.jpg;4.01;0.02\nb.jpg;7;\n",
        "photo\tph\tph_sd\r\na.jpg\t4,01\t0,02\r\nb.jpg\t7\t\r\n".encode("utf-16"),
        b"\xfe\xff" + "photo,ph,ph_sd\na.jpg,4.01,0.02\nb.jpg,7,\n".encode("utf-16-be"),
    ],
    ids=["semicolons", "quoted", "sep", "points", "tabs in utf-16", "big-endian"],
)
def test_tables_as_spreadsheets_of_other_countries_write_them(folder, data):
    path = folder / "t.csv"
    path.write_bytes(data)
    first, second = read_buffers(path)
    assert (first.name, first.ph, first.ph_sd, second.ph) == ("a.jpg", 4.01, 0.02, 7.0)
    assert second.line - first.line == 1


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("photo;ph\na.jpg;4,01\nb.jpg;7.00\n", "line 2, column ph: 4,01 has a comma, line 3 a decimal point"),
        ("photo;ph\na.jpg;4,010\nb.jpg;7,000\n", "line 2, column ph: 4,010 may mean two numbers"),
        ("photo;ph,note;buffer\na.jpg;4;\n", "line 1: both commas and semicolons"),
        ("sep=;\nphoto;ph\na.jpg;four\n", "line 3, column ph: 'four'"),
        ("photo;ph\na.jpg;1.004,01\n", "line 2, column ph: '1.004,01' is not a number"),
    ],
)
def test_what_may_mean_two_things_is_asked_back(folder, text, words):
    with pytest.raises(CallError) as told:
        read_buffers(write(folder, text))
    assert words in str(told.value)
    assert "\n" not in str(told.value)


def test_a_semicolon_in_a_column_s_name_parts_nothing(folder):
    assert read_buffers(write(folder, "photo,ph,note; by hand\na.jpg,4.01,x\n"))[0].ph == 4.01


def test_text_in_two_bytes_a_letter_without_its_mark_is_named(folder):
    path = folder / "t.csv"
    path.write_bytes("photo,ph\na.jpg,4\n".encode("utf-16-le"))
    with pytest.raises(CallError, match="save it as UTF-8"):
        read_buffers(path)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("photo,mg_per_l\na.jpg,4\n", "line 1: no column path_mm"),
        ("photo,mg_per_l,path_mm\n", "no lines"),
        ("photo,mg_per_l,path_mm\na.jpg,x,25\n", "line 2, column mg_per_l: 'x' is not a number"),
        ('photo,mg_per_l,path_mm\na.jpg,"4,5",25\n', "decimal point"),
        ("photo,mg_per_l,path_mm\na.jpg,4,\n", "line 2, column path_mm: is empty"),
        ("photo,mg_per_l,path_mm\na.jpg,4,0\n", "line 2, column path_mm: 0 is not between 0.1"),
        ("photo,mg_per_l,path_mm\nnone.jpg,4,25\n", "line 2, column photo"),
        (f"photo,mg_per_l,path_mm\n{'x' * 300},4,25\n", "line 2, column photo"),
    ],
)
def test_complaints_about_standards(folder, text, words):
    with pytest.raises(CallError) as told:
        learn_response(write(folder, text))
    assert words in str(told.value)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("patch,L,a\ng1,50,1\n", "line 1: no column b"),
        ("L,a,b\n50,1,1\n", "line 1: no column patch"),
        ("patch,L,a,b\n", "no lines"),
        ("patch,L,a,b\nnone,50,1,1\n", "line 2, column patch: no patch 'none'"),
        ("patch,L,a,b\n{patch},50,x,1\n", "line 2, column a: 'x' is not a number"),
        ("patch,L,a,b\n{patch},50,,1\n", "line 2, column a: is empty"),
        ("patch,L,a,b\n{patch},150,1,1\n", "line 2, column L: 150 is not between 0 and 110"),
        ("patch,400,500\n{patch},0.5,50\n", "line 2, column 500: 50 is not between -0.01 and 2 (a reflectance"),
    ],
)
def test_complaints_about_measured_patches(folder, text, words):
    patch = layout().patches[0].id
    with pytest.raises(CallError) as told:
        measured_values(write(folder, text.replace("{patch}", patch)))
    assert words in str(told.value)
