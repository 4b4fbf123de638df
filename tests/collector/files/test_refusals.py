"""A file that can be read in two ways, or in none, is refused, with both ways and the option."""

from __future__ import annotations

import pytest

from collector.files.mapping import mapping_in
from collector.files.refusal import FileRefused
from collector.files.telling import refusal_lines


def refused(load, path, *options: str) -> FileRefused:
    with pytest.raises(FileRefused) as told:
        load(path, *options)
    return told.value


def table(*rows: str, head: str = "time,air,rh") -> str:
    return "\n".join((head, *rows)) + "\n"


AMBIGUOUS_DATES = table("05/03/2026 10:00,21.5,60", "05/03/2026 10:10,21.6,61")


def test_dates_that_two_orders_fit_are_shown_in_both(load, written, store):
    told = refused(load, written(AMBIGUOUS_DATES))
    assert [way.option for way in told.ways] == ["date_order=dmy", "date_order=mdy"]
    assert told.ways[0].shown[0] == "05/03/2026 10:00 is 05 March 2026 10:00"
    assert told.ways[1].shown[0] == "05/03/2026 10:00 is 03 May 2026 10:00"
    lines = list(refusal_lines("bag-07.csv", told))
    assert '--map "date_order=dmy"' in lines[1]
    assert '--map "date_order=mdy"' in lines[1]
    assert store.count() == 0


@pytest.mark.parametrize(("order", "at_ms"), [("dmy", 1772701200000), ("mdy", 1777795200000)])
def test_the_option_chooses_the_order(load, written, order, at_ms):
    values = load(written(AMBIGUOUS_DATES), f"date_order={order}").values
    assert values["bag-07/air", at_ms] == 21.5


def test_an_order_that_lies_in_the_future_is_ruled_out(load, written):
    loaded = load(written(table("05/12/2026 10:00,21.5,60", "05/12/2026 10:10,21.6,61")))
    assert loaded.detection.timing.order == "mdy"
    assert loaded.detection.timing.order_by == "the others lie in the future"


def test_a_date_far_down_the_file_settles_the_order(load, written):
    rows = [f"05/03/2026 10:00:{second:02},21.5,60" for second in range(60)] * 1000
    rows[5_000] = "25/03/2026 10:00:00,21.5,60"
    loaded = load(written(table(*rows)), dry=True)
    assert (loaded.detection.timing.order, loaded.detection.timing.order_by) == (
        "dmy",
        "a date further down",
    )


def test_years_of_two_digits_can_stand_in_three_places(load, written):
    told = refused(load, written(table("05-03-06 10:00,21.5,60")))
    assert {way.option for way in told.ways} == {
        "date_order=ymd",
        "date_order=dmy",
        "date_order=mdy",
    }


def test_commas_between_cells_and_before_fractions(load, written):
    path = written(table("2026-03-05 10:00,21,5,60,2", "2026-03-05 10:10,21,6,61,0"))
    told = refused(load, path)
    assert [way.option for way in told.ways] == ["decimal=,", "decimal=."]
    assert told.ways[0].shown[0] == "2026-03-05 10:00 | 21,5 | 60,2"
    assert told.ways[1].shown[0] == "2026-03-05 10:00 | 21 | 5 | 60 | 2"
    values = load(path, "decimal=,").values
    assert values["bag-07/air", 1772701200000] == 21.5
    assert values["bag-07/rh", 1772701200000] == 60.2


def test_a_row_of_torn_numbers_that_nobody_can_mend_is_refused(load, written):
    path = written(table("2026-03-05 10:00,21,5,60,2", "2026-03-05 10:10,21,60,2"))
    loaded = load(path, "decimal=,")
    assert loaded.refused == [[3, "", "row unreadable"]]
    assert len(loaded.values) == 2


def test_a_thousand_or_one_and_a_bit(load, written):
    path = written('time,lux\n2026-03-05 10:00,"1,250"\n2026-03-05 10:10,"2,250"\n', "mast.csv")
    told = refused(load, path)
    assert '"1,250" can be a thousand or a decimal fraction' in told.problem
    assert "1,250 is 1.250" in told.ways[0].shown[0]
    assert "1,250 is 1250" in told.ways[1].shown[0]
    assert load(path, "decimal=.").values["mast/lux", 1772701200000] == 1250.0
    assert "contradicts what is kept" in str(load(path, "decimal=,").refused)


def test_points_and_commas_before_fractions_in_one_file(load, written):
    path = written("time;air;rh\n2026-03-05 10:00;21,5;60.25\n2026-03-05 10:10;21,5;60.5\n")
    told = refused(load, path)
    assert "some numbers have a decimal point, others a decimal comma" in told.problem


def test_two_columns_of_times(load, written):
    path = written(
        table("2026-03-05 10:00,2026-03-05 09:00,21.5", head="logged,received,air"),
    )
    told = refused(load, path)
    assert [way.option for way in told.ways] == ["time=logged", "time=received"]
    assert load(path, "time=received", "logged=-").values == {("bag-07/air", 1772697600000): 21.5}


def test_of_two_times_the_one_that_says_its_zone_is_taken(load, written):
    path = written(
        table("2026-03-05 10:00,2026-03-05 09:00,21.5", head="local time,time (UTC),air"),
    )
    loaded = load(path)
    assert loaded.detection.timing.zone_name == "+00:00"
    assert loaded.values == {("bag-07/air", 1772701200000): 21.5}


def test_a_column_that_could_be_two_channels(load, written):
    path = written("time,bag-07 mast light\n2026-03-05 10:00,21.5\n", "export.csv")
    told = refused(load, path)
    assert "could be 2 channels" in told.problem
    assert [way.option for way in told.ways] == [
        "bag-07 mast light=bag-07/par",
        "bag-07 mast light=mast/lux",
    ]


def test_two_columns_for_one_channel(load, written):
    path = written(table("2026-03-05 10:00,21.5,22.5", head="time,Temp,Temp"))
    told = refused(load, path)
    assert "2 columns would be channel bag-07/air" in told.problem
    assert [way.option for way in told.ways] == ["#3=-", "#2=-"]
    assert load(path, "#2=-").values == {("bag-07/air", 1772701200000): 22.5}


def test_a_column_of_no_sensor_says_what_to_write(load, written):
    told = refused(load, written(table("2026-03-05 10:00,21.5,60"), "export.csv"))
    assert 'which sensor column "air", "rh" belongs to' in told.problem
    assert '--map "air=bag-07/air"' in told.fix


def test_the_last_part_of_the_topic_names_a_sensor_as_a_serial_number_does(load, written):
    path = written("# Serial number: SN20417\n" + table("2026-03-05 10:00,21.5,60"), "export.csv")
    loaded = load(path)
    assert loaded.values["bag-07/air", 1772701200000] == 21.5
    assert loaded.detection.columns[0].found_by == "the file names bag-07"


def test_a_title_names_a_sensor(load, written):
    loaded = load(written(table("2026-03-05 10:00,36", head="time,wind"), "Mast by the gate.csv"))
    assert loaded.values == {("mast/wind", 1772701200000): 36}


@pytest.mark.parametrize(
    ("night", "unit", "likely"),
    [("62.5", "°C", "degF"), ("98.0", "°C", "degF"), ("21.5", "°F", "degC"), ("294.6", "°C", "K")],
)
def test_a_unit_that_does_not_fit_its_values_is_told(load, written, night, unit, likely):
    rows = [f"2026-03-05 23:{minute:02},{night}" for minute in range(0, 60, 5)]
    path = written(table(*rows, head=f"time,Temp ({unit})"))
    told = refused(load, path)
    assert f"it looks like {likely}" in told.problem
    assert told.ways[0].option == f"Temp ({unit})=bag-07/air {likely}"
    loaded = load(path, told.ways[0].option)
    (value,) = set(loaded.values.values())
    assert 15 < value < 40


def test_heat_by_day_alone_is_no_reason_to_doubt(load, written):
    rows = [f"2026-07-05 15:{minute:02},47.5" for minute in range(0, 60, 5)]
    rows += [f"2026-07-05 23:{minute:02},22.5" for minute in range(0, 60, 5)]
    assert len(load(written(table(*rows, head="time,Temp (°C)"))).values) == 24


def test_by_night_less_heat_is_enough_to_doubt(load, written):
    rows = [f"2026-03-05 23:{minute:02},45.5" for minute in range(0, 60, 5)]
    rows += [f"2026-03-05 12:{minute:02},51.5" for minute in range(60)]
    told = refused(load, written(table(*rows, head="time,Temp (°C)")))
    assert "reads 45.5 at night: it looks like degF" in told.problem


def test_a_humidity_written_as_a_fraction_is_told(load, written):
    rows = [f"2026-03-05 23:{minute:02},0.{minute + 20}" for minute in range(0, 60, 5)]
    path = written(table(*rows, head="time,RH (%)"))
    assert "it looks like fraction" in refused(load, path).problem
    assert max(load(path, "RH (%)=bag-07/rh fraction").values.values()) == 75.0


def test_a_name_that_contradicts_its_unit_is_told(load, written):
    path = written(table("2026-03-05 10:00,21.5", head="time,Humidity (°C)"))
    told = refused(load, path)
    assert "is misnamed" in told.problem


def test_names_that_do_not_line_up_with_their_cells_are_told(load, written):
    path = written(
        "time,air,rh\n1,2026-03-05 10:00,21.5,60\n2,2026-03-05 10:10,21.6,61\n",
    )
    told = refused(load, path)
    assert "do not line up (time = 1, air = 2026-03-05 10:00" in told.problem
    options = ("header_line=0", "#1=-", "#3=bag-07/air", "#4=bag-07/rh")
    assert load(path, *options).values["bag-07/rh", 1772701800000] == 61


def test_units_behind_a_comma_belong_to_the_name_before_them(load, written):
    loaded = load(written(table("2026-03-05 10:00,71.6,60", head="time,Temp, °F,RH, %")))
    assert [one.column.name for one in loaded.detection.columns] == ["Temp, °F", "RH, %"]
    assert loaded.values["bag-07/rh", 1772701200000] == 60
    assert loaded.values["bag-07/air", 1772701200000] == pytest.approx(22)


def test_more_names_than_cells_are_told(load, written):
    path = written(table("2026-03-05 10:00,21.5,60", head="time,air, inside,rh"))
    assert "do not line up" in refused(load, path).problem


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("", "the file is empty"),
        ("\n\n  \n", "nothing but blanks"),
        ("good morning\n", "no row with a time and a value"),
        ("time,air\n", "no row with a time and a value"),
        ("PK\x03\x04 rest", "a spreadsheet or an archive"),
        ("%PDF-1.7", "a PDF"),
        ("time,air\n10:00,21\n10:10,22\n", "no row with a time and a value"),
    ],
)
def test_what_is_no_table_is_said_to_be_none(load, written, text, said):
    told = refused(load, written(text))
    assert said in told.problem
    assert told.fix


def test_a_file_that_is_not_there(load, tmp_path):
    assert "cannot be read (no such file" in refused(load, tmp_path / "none.csv").problem
    assert "cannot be read (is a directory" in refused(load, tmp_path).problem


@pytest.mark.parametrize("ending", [".xls", ".json", ".zip", ".ods", ".gz"])
def test_kinds_that_are_not_read_are_named(load, written, ending):
    told = refused(load, written("x", f"bag-07{ending}"))
    assert f"files that end in {ending} are not read" in told.problem


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("nonsense", "is not KEY=VALUE"),
        ("zone=Nowhere/Town", "is no time zone"),
        ("date_order=dym", "date_order"),
        ("time_format=stardate", "time_format"),
        ("decimal=;", "decimal"),
        ("header_line=-1", "header_line"),
        ("time=nothing", 'columns are called "nothing"'),
        ("water=bag-07/air", 'has no column of values "water"'),
        ("air=bag-07/water", 'no channel "bag-07/water"'),
        ("air=bag-07/air bars", '"bars" is not a unit of air_temperature'),
        ("encoding=klingon", "no encoding that is known"),
    ],
)
def test_a_wrong_option_is_named_with_what_fits(load, written, option, said):
    told = refused(load, written(table("2026-03-05 10:00,21.5,60")), option)
    assert said in told.problem
    assert told.fix


def test_a_mapping_file_that_is_wrong_names_itself(tmp_path):
    path = tmp_path / "logger.map.toml"
    path.write_text('zone = "Europe/Madrid"\nshoe = 4\n', encoding="utf-8")
    with pytest.raises(FileRefused, match=r"logger.map.toml: shoe"):
        mapping_in((), [path])
    path.write_text("zone = ", encoding="utf-8")
    with pytest.raises(FileRefused, match=r"logger.map.toml: cannot be read"):
        mapping_in((), [path])


def test_options_outrank_a_mapping_file(tmp_path):
    path = tmp_path / "logger.map.toml"
    path.write_text(
        'zone = "+01:00"\n[column]\n"air" = { channel = "bag-07/air", unit = "degF" }\n',
        encoding="utf-8",
    )
    mapping = mapping_in(["zone=+02:00", "rh=-"], [path])
    assert mapping.zone == "+02:00"
    assert mapping.column["air"].unit == "degF"
    assert mapping.column["rh"].channel == "-"
