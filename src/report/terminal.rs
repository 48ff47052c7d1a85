//! Findings on a terminal: words first, then tables, in plain letters.

use crate::analysis::findings::Findings;
use crate::analysis::sentence::{Sentence, Span};
use crate::analysis::words::circumstance::Topic;
use crate::report::alternatives::{self, Alternative};
use crate::report::file_page::{self, FileNote};
use crate::report::page::{brittle_note, designs, is_beside, made, no_answer, notes};
use crate::report::tables::{self, Table, beside, comparisons, stages};
use crate::study::plan::Plan;

/// What must stand under every report.
pub const CAUTION: &str = "Research result for the pieces tested. Not for certifying, rating or approving \
    load-bearing, lifting, pressure, safety or medical parts. Local codes and licensed professionals decide.";

/// Marks within a text, and what they mean to a terminal (ECMA-48). They are letters of the private use
/// area, so that nothing that a file says can be a code.
const BOLD: char = '\u{e000}';
const RED: char = '\u{e001}';
const END: char = '\u{e002}';
const MARKS: [(char, &str); 3] = [(BOLD, "\u{1b}[1m"), (RED, "\u{1b}[31m"), (END, "\u{1b}[0m")];

/// How words are set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Look {
    /// Letters in a line.
    pub width: usize,
    /// Whether verdicts are bold and warnings red; otherwise verdicts stand between asterisks.
    pub has_colour: bool,
}

/// Text set line by line.
struct Sheet {
    text: String,
    look: Look,
}

/// The whole summary.
#[must_use]
pub fn summary(plan: &Plan, findings: &Findings, file: &FileNote, look: Look) -> String {
    let mut sheet = Sheet::new(look);
    sheet.title(&findings.study.title);
    if !plan.question.is_empty() {
        sheet.paragraph(&plan.question);
    }
    answer(&mut sheet, findings);
    compared(&mut sheet, plan, findings);
    sheet.heading("Each set by itself");
    for table in tables::groups(plan, findings) {
        sheet.table(&table);
    }
    over_stages(&mut sheet, findings);
    let (secondary, without_interval) = comparisons::secondary(findings);
    if !secondary.is_empty() || !without_interval.is_empty() {
        sheet.heading("Secondary: what does not decide");
        secondary.iter().for_each(|table| sheet.table(table));
        without_interval.iter().for_each(|text| sheet.item(text));
        sheet.gap();
    }
    sheet.heading("What happened to all the pieces");
    sheet.paragraph(&made(&findings.accounting));
    sheet.table(&tables::accounting(&findings.accounting));
    for part in file_page::parts(plan, findings, file) {
        sheet.heading(&part.heading);
        part.paragraphs
            .iter()
            .for_each(|text| sheet.paragraph(text));
    }
    let seen = designs(findings);
    if !seen.is_empty() {
        sheet.heading("What a design of this size can see");
    }
    for design in seen {
        sheet.paragraph(&design.sentence);
        sheet.table(&design.table);
        sheet.warning(&design.warning);
    }
    sheet.heading("Limits and cautions");
    for text in file_page::limits(findings) {
        sheet.paragraph(&text);
    }
    sheet.paragraph(CAUTION);
    sheet.text
}

fn answer(sheet: &mut Sheet, findings: &Findings) {
    match findings.standing.interim() {
        Some(interim) => sheet.heading(&format!("So far ({interim})")),
        None => sheet.heading("The answer"),
    }
    for sentence in &findings.answer {
        let words = sheet.words(sentence);
        sheet.paragraph(&words);
    }
    if findings.answer.is_empty() {
        sheet.paragraph(&no_answer(findings));
    }
    for note in notes(findings, is_beside) {
        let words = sheet.words(&note);
        sheet.item(&words);
    }
    for note in notes(findings, |t| matches!(t, Topic::Session | Topic::Blinding)) {
        sheet.item(&note.to_string());
    }
    sheet.gap();
}

fn compared(sheet: &mut Sheet, plan: &Plan, findings: &Findings) {
    let Some(primary) = &findings.primary else {
        return;
    };
    sheet.heading("The comparison that decides");
    sheet.table(&comparisons::primary(primary));
    let mut told = |all: Vec<Alternative>| {
        for alternative in all {
            sheet.paragraph_close(&format!("{}:", alternative.what));
            for runs in &alternative.results {
                let text: String = runs.iter().map(|run| run.text.as_str()).collect();
                sheet.item(&text);
            }
            sheet.gap();
        }
    };
    told(alternatives::countings(primary));
    told(alternatives::variants(primary));
    let Some(found) = &findings.beside else {
        return;
    };
    let part = beside::part(plan, &primary.family, found);
    sheet.heading("Looked at, and asked by other methods");
    part.looked_at.iter().for_each(|text| sheet.item(text));
    sheet.gap();
    if let Some(table) = &part.table {
        sheet.table(table);
    }
    part.notes.iter().for_each(|text| sheet.paragraph(text));
}

fn over_stages(sheet: &mut Sheet, findings: &Findings) {
    let tables = stages::over_time(findings);
    if !tables.is_empty() {
        sheet.heading("Over the stages");
        stages::told(findings)
            .iter()
            .for_each(|text| sheet.item(text));
        sheet.gap();
        tables.iter().for_each(|table| sheet.table(table));
    }
    if let Some(table) = stages::brittle(&findings.brittle) {
        sheet.heading("Weibull strength");
        sheet.table(&table);
        sheet.paragraph(&brittle_note(findings));
    }
}

/// A table with the sentences around it, for a command that answers with one.
#[must_use]
pub fn answer_table(
    title: &str,
    sentence: &str,
    table: &Table,
    warning: &str,
    look: Look,
) -> String {
    let mut sheet = Sheet::new(look);
    sheet.title(title);
    sheet.paragraph(sentence);
    sheet.table(table);
    sheet.warning(warning);
    sheet.text
}

impl Sheet {
    fn new(look: Look) -> Self {
        Self {
            text: String::new(),
            look,
        }
    }

    fn gap(&mut self) {
        self.text.push('\n');
    }

    fn title(&mut self, text: &str) {
        self.line(text);
        self.line(&"=".repeat(width(text).min(self.look.width)));
        self.gap();
    }

    fn heading(&mut self, text: &str) {
        self.line(text);
        self.line(&"-".repeat(width(text).min(self.look.width)));
    }

    /// A line without letters that steer a terminal: what a file says is only shown.
    fn line(&mut self, text: &str) {
        for c in text.chars().filter(|c| !c.is_control()) {
            match MARKS.iter().find(|(mark, _)| *mark == c) {
                Some((_, code)) if self.look.has_colour => self.text.push_str(code),
                Some(_) => {}
                None => self.text.push(c),
            }
        }
        self.text.push('\n');
    }

    fn paragraph(&mut self, text: &str) {
        self.paragraph_close(text);
        self.gap();
    }

    fn paragraph_close(&mut self, text: &str) {
        for line in wrapped(text, self.look.width) {
            self.line(&line);
        }
    }

    fn item(&mut self, text: &str) {
        for (at, line) in wrapped(text, self.look.width.saturating_sub(2))
            .iter()
            .enumerate()
        {
            let lead = if at == 0 { "- " } else { "  " };
            self.line(&format!("{lead}{line}"));
        }
    }

    fn warning(&mut self, text: &str) {
        if text.is_empty() {
            return;
        }
        for line in wrapped(text, self.look.width) {
            let line = format!("{RED}{line}{END}");
            self.line(&line);
        }
        self.gap();
    }

    fn words(&self, sentence: &Sentence) -> String {
        if !self.look.has_colour {
            return sentence.marked();
        }
        let set = |span: &Span| match span.is_verdict {
            true => format!("{BOLD}{}{END}", span.text),
            false => span.text.clone(),
        };
        sentence.0.iter().map(set).collect()
    }

    fn table(&mut self, table: &Table) {
        self.paragraph_close(&table.caption);
        let rows: Vec<Vec<String>> = table
            .rows
            .iter()
            .map(|row| {
                let name = std::iter::once(row.name.clone());
                name.chain(row.cells.iter().cloned()).collect()
            })
            .collect();
        let widths = widths(&table.head, &rows);
        let whole: usize = widths.iter().sum::<usize>() + 2 * widths.len().saturating_sub(1);
        if whole <= self.look.width {
            for row in head_lines(&table.head, &widths).iter().chain(&rows) {
                let line = set_row(row, &widths, table.is_numbers);
                self.line(line.trim_end());
            }
        } else {
            for row in &table.rows {
                self.stacked(table, &row.name, &row.cells);
            }
        }
        self.gap();
    }

    /// A row too wide for the line: each cell beside the name of its column.
    fn stacked(&mut self, table: &Table, name: &str, cells: &[String]) {
        self.line(name);
        for (head, cell) in table.head.iter().skip(1).zip(cells) {
            let lines = wrapped(
                &format!("{head}: {cell}"),
                self.look.width.saturating_sub(4),
            );
            for (at, line) in lines.iter().enumerate() {
                let lead = if at == 0 { "  " } else { "    " };
                self.line(&format!("{lead}{line}"));
            }
        }
    }
}

/// Letters that are seen.
fn width(text: &str) -> usize {
    let is_seen = |c: &char| !c.is_control() && MARKS.iter().all(|(mark, _)| mark != c);
    text.chars().filter(is_seen).count()
}

/// Each column as wide as its widest cell and the longest word of its head.
fn widths(head: &[String], rows: &[Vec<String>]) -> Vec<usize> {
    let word = |name: &String| name.split_whitespace().map(width).max().unwrap_or(0);
    head.iter()
        .enumerate()
        .map(|(at, name)| {
            let cells = rows.iter().filter_map(|row| row.get(at));
            cells
                .map(|cell| width(cell))
                .max()
                .unwrap_or(0)
                .max(word(name))
        })
        .collect()
}

/// The heads in as many lines as the longest needs, the short ones at the bottom.
fn head_lines(head: &[String], widths: &[usize]) -> Vec<Vec<String>> {
    let cells: Vec<Vec<String>> = head
        .iter()
        .zip(widths)
        .map(|(name, wide)| wrapped(name, *wide))
        .collect();
    let tall = cells.iter().map(Vec::len).max().unwrap_or(0);
    let line = |at: usize| {
        let cell = |lines: &Vec<String>| {
            let above = tall - lines.len();
            at.checked_sub(above)
                .and_then(|own| lines.get(own))
                .cloned()
                .unwrap_or_default()
        };
        cells.iter().map(cell).collect()
    };
    (0..tall).map(line).collect()
}

fn set_row(row: &[String], widths: &[usize], is_numbers: bool) -> String {
    let cells: Vec<String> = row
        .iter()
        .zip(widths)
        .enumerate()
        .map(|(at, (cell, wide))| {
            let blank = " ".repeat(wide.saturating_sub(width(cell)));
            if is_numbers && at > 0 {
                format!("{blank}{cell}")
            } else {
                format!("{cell}{blank}")
            }
        })
        .collect();
    cells.join("  ")
}

/// Lines of at most so many letters; a longer word has a line for itself.
fn wrapped(text: &str, most: usize) -> Vec<String> {
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        if !line.is_empty() && width(&line) + 1 + width(word) > most {
            lines.push(std::mem::take(&mut line));
        }
        if !line.is_empty() {
            line.push(' ');
        }
        line.push_str(word);
    }
    lines.push(line);
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::tables::TableRow;

    const NARROW: Look = Look {
        width: 30,
        has_colour: false,
    };

    #[test]
    fn a_table_that_does_not_fit_is_told_line_by_line() {
        let table = Table {
            caption: "Loads.".into(),
            head: vec!["Set".into(), "Mean, N".into()],
            rows: vec![TableRow {
                name: "drawer".into(),
                cells: vec!["301.5".into()],
            }],
            is_numbers: true,
        };
        let shown = answer_table("T", "S.", &table, "", NARROW);
        assert!(
            shown.contains("        Mean,\nSet         N\ndrawer  301.5\n"),
            "{shown}"
        );
        let narrow = Look {
            width: 12,
            ..NARROW
        };
        let shown = answer_table("T", "S.", &table, "", narrow);
        assert!(shown.contains("drawer\n  Mean, N:\n    301.5\n"), "{shown}");
    }

    #[test]
    fn what_a_file_says_cannot_steer_the_terminal() {
        let mut sheet = Sheet::new(NARROW);
        sheet.paragraph("a\u{7}b\u{9b}\u{1b}c");
        assert_eq!(sheet.text, "abc\n\n");
    }
}
