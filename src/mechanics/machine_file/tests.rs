//! Files in several dialects, read to their curves. The corpus is in `tests/fixtures/curves`.

use super::*;

fn understood(text: &str) -> MachineFile {
    read(text.as_bytes(), &Hints::default()).unwrap()
}

#[test]
fn header_units_and_numbers() {
    let file = understood(
        "Operator;Nobody\nWidth;10,0;mm\n\nTime;Load;Extension\ns;kN;mm\n\
         0,0;0,000;0,00\n0,1;0,010;0,01\n0,2;0,020;0,02\n0,3;0,001;0,03\n",
    );
    let curve = &file.curves()[0];
    assert_eq!(curve.load_n.as_deref().unwrap(), [0.0, 10.0, 20.0, 1.0]);
    assert_eq!(curve.travel_mm.as_deref().unwrap(), [0.0, 0.01, 0.02, 0.03]);
    assert_eq!(curve.lines, [6, 7, 8, 9]);
    assert_eq!(file.problems.count, 0);
}

#[test]
fn side_by_side_and_of_unequal_length() {
    let file = understood(
        "A1B2;;C3D4;\nForce [N];Travel [mm];Force [N];Travel [mm]\n\
         0;0;0;0\n5;1;6;1\n9;2;7;2\n1;3;;\n0;4;;\n",
    );
    let curves = file.curves();
    let told: Vec<_> = curves
        .iter()
        .map(|c| (c.label.as_deref(), c.lines.len()))
        .collect();
    assert_eq!(told, [(Some("A1B2"), 5), (Some("C3D4"), 3)]);
}

#[test]
fn a_column_names_the_piece() {
    let file = understood(
        "Specimen,Load (N),Extension (mm)\nAB1,0,0\nAB1,5,1\nAB1,9,2\nCD2,0,0\nCD2,4,1\nCD2,8,2\n",
    );
    let labels: Vec<_> = file.curves().into_iter().map(|c| c.label).collect();
    assert_eq!(labels, [Some("AB1".into()), Some("CD2".into())]);
}

#[test]
fn blocks_below_each_other() {
    let file = understood("Piece 1\nN mm\n0 0\n5 1\n9 2\n\nPiece 2\nN mm\n0 0\n6 1\n8 2\n");
    let curves = file.curves();
    assert_eq!(curves.len(), 2);
    assert!(curves[1].head.iter().any(|line| line == "Piece 2"));
    assert_eq!(curves[1].load_n.as_deref().unwrap(), [0.0, 6.0, 8.0]);
}

#[test]
fn problems_are_named_by_line() {
    let file = understood(
        "Load [N];Travel [mm];Time [s]\n0;0;0\n5;1;1\n9;2;2\nOVER;3;3\n12;4;4;5\n# pause\n15;6;6\n-;-;7\n1;7;8\n",
    );
    let told: Vec<String> = file
        .problems
        .first
        .iter()
        .map(ToString::to_string)
        .collect();
    assert_eq!(told.len(), 4, "{told:#?}");
    assert!(told[0].starts_with("Line 5: “OVER” in column 1"));
    assert!(told[1].starts_with("Line 6 has more cells"));
    assert!(told[2].starts_with("Line 7 stands among"));
    assert!(told[3].starts_with("Line 9 stands among"));
    assert_eq!(file.curves()[0].lines, [2, 3, 4, 6, 8, 10]);
}

#[test]
fn a_person_puts_a_guess_right() {
    let text = "a;b\n0;0\n5;1\n9;2\n1;3\n";
    let hints = Hints {
        columns: vec![
            Some((Role::Travel, unit::by_symbol("cm"))),
            Some((Role::Load, unit::by_symbol("kN"))),
        ],
        ..Hints::default()
    };
    let file = read(text.as_bytes(), &hints).unwrap();
    let curve = &file.curves()[0];
    assert_eq!(curve.load_n.as_deref().unwrap(), [0.0, 1e3, 2e3, 3e3]);
    assert_eq!(curve.travel_mm.as_deref().unwrap(), [0.0, 50.0, 90.0, 10.0]);
    assert_eq!(file.blocks[0].columns[0].because, Because::Said);
}

#[test]
fn what_is_no_curve_is_refused() {
    let refused = |text: &str| read(text.as_bytes(), &Hints::default()).unwrap_err();
    assert_eq!(refused("only words\nand more\n"), Unreadable::NoTable);
    assert_eq!(refused("1;2\n3;4\n"), Unreadable::NoTable);
    assert_eq!(refused("\n\n"), Unreadable::Empty);
}

#[test]
fn a_file_of_countless_tables_is_refused_and_a_long_remark_ends_a_table() {
    let table = "ab;cd\nef;gh\n1;1\n2;2\n3;3\n4;4\n5;5\n6;6\n7;7\n8;8\n9;9\n";
    let many = table.repeat(MOST_TABLES + 2);
    let refused = read(many.as_bytes(), &Hints::default()).unwrap_err();
    assert_eq!(refused, Unreadable::TooManyTables);
    let few = read(table.repeat(3).as_bytes(), &Hints::default()).unwrap();
    assert_eq!(few.blocks.len(), 3);
    // Numbers that run on after a line or two of words are the same table; after a page of them they are not.
    let rows = |from: u32| -> String { (from..from + 9).map(|n| format!("{n};{n}\n")).collect() };
    for (words, tables) in [(1, 1), (60, 2)] {
        let text = format!("{}{}{}", rows(1), "a word\n".repeat(words), rows(10));
        let file = read(text.as_bytes(), &Hints::default()).unwrap();
        assert_eq!(file.blocks.len(), tables, "{words}");
    }
}
