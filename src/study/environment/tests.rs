//! Files as loggers' programs write them, all invented: what is guessed of each, and what it gives.

use chrono::{DateTime, Utc};

use super::guess::guess;
use super::layout::ReadFault;
use super::stamp::DateOrder;
use super::{Measurand, ReadAs, table};

fn utc(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

/// The file by its own guess: first moment, first value of the first column, measurands.
fn read(bytes: &[u8]) -> (DateTime<Utc>, Option<f64>, Vec<Measurand>) {
    let guess = guess(bytes, "Europe/Oslo").unwrap();
    let (text, _) = table::text(bytes);
    let read = guess.layout.read(&text).unwrap();
    let first = &read.values.rows[0];
    (first.at, first.values[0], read.values.measurands.clone())
}

const CELSIUS: Measurand = Measurand::Temperature;

#[test]
fn the_same_hour_in_the_ways_of_many_loggers() {
    let at = utc("2026-04-30T14:00:00Z");
    let utf16: Vec<u8> = [0xff, 0xfe]
        .into_iter()
        .chain(
            "Datum;Temp (°C)\n30.04.2026 16:00;12,5\n30.04.2026 17:00;12,6\n"
                .encode_utf16()
                .flat_map(u16::to_le_bytes),
        )
        .collect();
    let windows = [
        b"Datum;Temperatur (".as_slice(),
        &[0xb0],
        b"C)\n30.04.2026 16:00;12,5\n30.04.2026 17:00;12,6\n",
    ]
    .concat();
    let files: [(&str, &[u8]); 9] = [
        (
            "iso, comma, UTC",
            b"time,temperature [degC]\n2026-04-30T14:00:00Z,12.5\n2026-04-30T15:00:00Z,12.6\n",
        ),
        (
            "lines above, winter time named there",
            "Logger 17;;\nSerial;0042;\nTime (GMT+01:00);Temperature (°C);RH (%)\n\
             30.04.2026 15:00;12,5;80\n30.04.2026 16:00;12,6;81\n"
                .as_bytes(),
        ),
        (
            "tab, month first, half days, Fahrenheit",
            "#\tDate/Time\tTemp (°F)\n1\t04/30/2026 04:00:00 PM\t54.5\n2\t04/30/2026 05:00:00 PM\t54.6\n"
                .as_bytes(),
        ),
        (
            "day and clock apart",
            b"Date,Time,Temp C (degC),RH\n2026-04-30,16:00,12.5,80\n2026-04-30,17:00,12.6,80\n",
        ),
        (
            "seconds since 1970",
            b"epoch,temp_celsius\n1777557600,12.5\n1777561200,12.6\n",
        ),
        ("UTF-16", &utf16),
        ("Windows-1252", &windows),
        (
            "upright bar, slashes, year first",
            b"when|temp (C)\n2026/04/30 16:00|12.5\n2026/04/30 17:00|12.6\n",
        ),
        (
            "units in the cells, quotes",
            "\"time\",\"temperature\"\n\"30/04/2026 16:00\",\"12.5 °C\"\n\"30/04/2026 17:00\",\"12.6 °C\"\n"
                .as_bytes(),
        ),
    ];
    for (what, bytes) in files {
        let (first, value, measurands) = read(bytes);
        assert_eq!(first, at, "{what}");
        assert!((value.unwrap() - 12.5).abs() < 1e-9, "{what}: {value:?}");
        assert_eq!(measurands[0], CELSIUS, "{what}");
    }
}

#[test]
fn what_was_guessed_is_said() {
    let file = "Time;Temp (°C);Rain (mm);Battery (V)\n01.02.2026 00:00;-1,5;0,2;3,0\n\
                02.02.2026 00:00;-2,5;0;3,0\n";
    let guess = guess(file.as_bytes(), "Europe/Oslo").unwrap();
    let said = guess.said.join("\n");
    for words in [
        "parted by the semicolon",
        "decimal comma",
        "first row with data is line 2",
        "can also be read as month, day, year",
        "“Temp (°C)”: temperature, °C",
        "“Rain (mm)”: rain, mm",
        "Europe/Oslo is taken",
    ] {
        assert!(said.contains(words), "{words} is not in\n{said}");
    }
    assert_eq!(guess.layout.date_order, DateOrder::DayMonthYear);
    let unused = [
        ReadAs::Unused,
        ReadAs::Celsius,
        ReadAs::RainMillimetre,
        ReadAs::Unused,
    ];
    assert_eq!(guess.layout.columns, unused);
}

#[test]
fn what_cannot_be_is_left_out_and_said() {
    let mut file = "time,temp (C),humidity (%)\n".to_owned();
    for hour in 0..24 {
        file.push_str(&format!("2026-02-01T{hour:02}:00Z,5.0,50\n"));
    }
    file.push_str("2026-02-01T23:00Z,6.0,50\n2026-02-02T02:00Z,-999,---\n2026-02-02T01:00Z,4.0,\n");
    file.push_str("end of file,,\n");
    let guess = guess(file.as_bytes(), "UTC").unwrap();
    let read = guess.layout.read(&file).unwrap();
    let said = read.left_out.join(" ");
    assert!(said.contains("1 rows cannot be read"), "{said}");
    assert!(said.contains("1 values are outside"), "{said}");
    assert!(said.contains("1 rows repeat a moment"), "{said}");
    assert!(said.contains("they were sorted"), "{said}");
    assert_eq!(read.values.rows.len(), 26);
    let last = read.values.rows.last().unwrap();
    assert_eq!(
        (last.at, last.values.clone()),
        (utc("2026-02-02T02:00:00Z"), vec![None, None])
    );
    let gap = (utc("2026-02-01T23:00:00Z"), utc("2026-02-02T01:00:00Z"));
    assert_eq!(read.values.gaps(), [gap], "never filled");
}

#[test]
fn what_is_no_table_is_refused_with_a_reason() {
    let fault = |bytes: &[u8]| guess(bytes, "UTC").unwrap_err();
    assert_eq!(fault(b""), ReadFault::NoRows);
    assert_eq!(fault(b"<html><body>no</body></html>"), ReadFault::NoRows);
    assert_eq!(fault(b"a,b\n1,2\n"), ReadFault::NoRows);
    assert_eq!(fault(b"\x89PNG\r\n\x1a\n\0\0\0"), ReadFault::NoText);
    let wide = format!("2026-01-01{}\n", ",1".repeat(200));
    assert_eq!(fault(wide.as_bytes()), ReadFault::TooManyColumns);
    let good = b"time,temp (C)\n2026-02-01T00:00Z,1\n";
    let mut layout = guess(good, "UTC").unwrap().layout;
    let text = String::from_utf8_lossy(good).into_owned();
    layout.zone = "the shed".to_owned();
    assert_eq!(layout.read(&text).unwrap_err(), ReadFault::NoZone);
    layout.zone = "UTC".to_owned();
    layout.columns = vec![ReadAs::Unused; 2];
    assert_eq!(layout.read(&text).unwrap_err(), ReadFault::NoColumn);
    layout.columns = vec![ReadAs::Celsius; 2];
    assert_eq!(
        layout.read(&text).unwrap_err(),
        ReadFault::Twice("temperature")
    );
    layout.columns = vec![ReadAs::Unused, ReadAs::Celsius];
    layout.date_order = DateOrder::DayMonthYear;
    let wrong = layout.read(&text).unwrap_err();
    assert!(
        matches!(
            wrong,
            ReadFault::Unreadable {
                count: 1,
                of: 1,
                line: 2,
                ..
            }
        ),
        "{wrong:?}"
    );
}
