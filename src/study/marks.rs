//! Marks in the piece itself, for pieces that soil and water would rob of any label: notches along an
//! edge, holes, or raised dots, read by eye or by touch.
//!
//! The scheme is our own. A piece's running number is written in decimal digits, at least two, and one
//! check digit. Each digit is a group of five places in a row, of which exactly two are marked:
//!
//! ```text
//! 1: 1 2    2: 1 3    3: 1 4    4: 1 5    5: 2 3    6: 2 4    7: 2 5    8: 3 4    9: 3 5    0: 4 5
//! ```
//!
//! A mark that wore away or one that a stone added leaves a group without its two, so it is seen. The
//! check digit makes 7·(last digit) + 3·(the one before) + 1·(before that) + 7·… + check divisible by
//! ten; 7, 3 and 1 share no factor with ten, so one group misread for another is seen as well. Two
//! groups exchanged pass only where their weights make up for it (for neighbours: digits that differ
//! by five); groups in a piece do not change places.
//!
//! Counting two marks of five is an old constant-weight code; the order of the pairs and the weights
//! are chosen here.

use std::fmt;

/// The two marked places of each digit, from 1.
const PLACES: [(u8, u8); 10] = [
    (4, 5),
    (1, 2),
    (1, 3),
    (1, 4),
    (1, 5),
    (2, 3),
    (2, 4),
    (2, 5),
    (3, 4),
    (3, 5),
];

/// Weights of the digits before the check digit, from the last one leftwards.
const WEIGHTS: [u32; 3] = [7, 3, 1];

/// The most digits that are read, the check digit included.
const MOST_GROUPS: usize = 8;

/// A row of groups: the digits of a number and their check digit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Marks(Vec<u8>);

/// One group of five places.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group {
    /// The digit it stands for.
    pub digit: u8,
    /// The marked places, from 1.
    pub places: (u8, u8),
}

impl Group {
    /// The group of a digit; of its last one, when there are several.
    #[must_use]
    pub fn of(digit: u8) -> Self {
        let digit = digit % 10;
        let places = PLACES.get(usize::from(digit)).copied();
        Self {
            digit,
            places: places.unwrap_or_default(),
        }
    }

    /// The group as a picture: `●●○○○`.
    #[must_use]
    pub fn picture(&self) -> String {
        let is_marked = |place| place == self.places.0 || place == self.places.1;
        let place = |place| if is_marked(place) { '●' } else { '○' };
        (1..=5).map(place).collect()
    }
}

/// Why marks are not read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarksFault {
    /// Fewer than three groups or more than eight.
    Count(usize),
    /// A group (from 1) that is neither five places nor two numbers of places.
    Unreadable(usize),
    /// A group (from 1) with another number of marks than two.
    Worn {
        /// Which group.
        group: usize,
        /// Marks seen in it.
        marks: usize,
    },
    /// Every group is whole, and the last does not fit the others.
    Check,
}

impl fmt::Display for MarksFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Count(1) => f.write_str("That is one group; marks are at least three."),
            Self::Count(n) => write!(f, "Those are {n} groups; marks are three to eight."),
            Self::Unreadable(group) => write!(
                f,
                "Group {group} is not readable: type its two marked places, such as 25, or its five places, such as oxoox."
            ),
            Self::Worn { group, marks } => write!(
                f,
                "Group {group} has {marks} marks and must have two: one wore away or was added. Look at it again."
            ),
            Self::Check => f.write_str(
                "Every group has its two marks, but the last does not fit the others: one is misread, or the piece is held the wrong way round.",
            ),
        }
    }
}

impl Marks {
    /// The marks of a piece with this running number.
    #[must_use]
    pub fn of(number: u32) -> Self {
        let text = format!("{number:02}");
        let mut digits: Vec<u8> = text.bytes().map(|byte| byte.saturating_sub(b'0')).collect();
        digits.push(check_digit(&digits));
        Self(digits)
    }

    /// The groups in their order, the check group last.
    #[must_use]
    pub fn groups(&self) -> Vec<Group> {
        self.0.iter().map(|digit| Group::of(*digit)).collect()
    }

    /// The marked places of each group: `12 45 13`.
    #[must_use]
    pub fn places(&self) -> String {
        let pair = |group: Group| format!("{}{}", group.places.0, group.places.1);
        let pairs: Vec<String> = self.groups().into_iter().map(pair).collect();
        pairs.join(" ")
    }

    /// The groups as pictures: `●●○○○ ○○○●● ●○●○○`.
    #[must_use]
    pub fn picture(&self) -> String {
        let pictures: Vec<String> = self.groups().iter().map(Group::picture).collect();
        pictures.join(" ")
    }
}

/// The number that typed marks stand for. Groups stand apart by blanks, commas or strokes; each is
/// its two places (`25`) or its five places (`oxoox`, `01001`, `○●○○●`).
///
/// # Errors
/// [`MarksFault`].
pub fn read(text: &str) -> Result<u32, MarksFault> {
    let apart = |c: char| c.is_whitespace() || ",;/|-·".contains(c);
    let groups: Vec<&str> = text
        .split(apart)
        .filter(|group| !group.is_empty())
        .collect();
    if !(3..=MOST_GROUPS).contains(&groups.len()) {
        return Err(MarksFault::Count(groups.len()));
    }
    let read = groups.iter().zip(1..).map(|(group, n)| digit(group, n));
    let digits = read.collect::<Result<Vec<u8>, MarksFault>>()?;
    let Some((check, number)) = digits.split_last() else {
        return Err(MarksFault::Count(0));
    };
    if check_digit(number) != *check {
        return Err(MarksFault::Check);
    }
    // Seven digits at most: no overflow.
    Ok(number
        .iter()
        .fold(0, |sum, digit| sum * 10 + u32::from(*digit)))
}

/// The digit of one typed group.
fn digit(group: &str, n: usize) -> Result<u8, MarksFault> {
    let marked = places(group).ok_or(MarksFault::Unreadable(n))?;
    let &[first, second] = marked.as_slice() else {
        let marks = marked.len();
        return Err(MarksFault::Worn { group: n, marks });
    };
    let found = PLACES.iter().position(|pair| *pair == (first, second));
    let found = found.and_then(|digit| u8::try_from(digit).ok());
    found.ok_or(MarksFault::Unreadable(n))
}

/// The marked places of a typed group; `None` when it is not one.
fn places(group: &str) -> Option<Vec<u8>> {
    let letters: Vec<char> = group.to_lowercase().chars().collect();
    let mark = |c: char| match c {
        'x' | '1' | '●' | '#' => Some(true),
        'o' | '0' | '○' | '.' | '_' => Some(false),
        _ => None,
    };
    if letters.len() == 5 {
        let marks: Vec<bool> = letters.iter().map(|c| mark(*c)).collect::<Option<_>>()?;
        let marked = marks.iter().zip(1..).filter(|(is_marked, _)| **is_marked);
        return Some(marked.map(|(_, place)| place).collect());
    }
    let place = |c: &char| c.to_digit(10).and_then(|d| u8::try_from(d).ok());
    let places: Vec<u8> = letters.iter().map(place).collect::<Option<_>>()?;
    let is_rising = places.windows(2).all(|pair| pair.first() < pair.last());
    let is_within = places.iter().all(|place| (1..=5).contains(place));
    (is_rising && is_within).then_some(places)
}

/// The digit that makes the weighted sum divisible by ten.
fn check_digit(digits: &[u8]) -> u8 {
    let weighted = digits.iter().rev().zip(WEIGHTS.iter().cycle());
    let sum: u32 = weighted
        .map(|(digit, weight)| u32::from(*digit) * weight)
        .sum();
    u8::try_from((10 - sum % 10) % 10).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand: 7·3 + 3·4 = 33, so the check digit of 43 is 7.
    #[test]
    fn a_number_is_written_as_the_page_says() {
        assert_eq!(Marks::of(43).places(), "15 14 25");
        assert_eq!(Marks::of(43).picture(), "●○○○● ●○○●○ ○●○○●");
        assert_eq!(Marks::of(7).places(), "45 25 12");
        assert_eq!(Marks::of(100).groups().len(), 4);
    }

    #[test]
    fn every_number_is_read_back_in_each_way_of_typing() {
        for number in (0..3000).chain([99_999, 1_234_567]) {
            let marks = Marks::of(number);
            assert_eq!(read(&marks.places()), Ok(number));
            assert_eq!(read(&marks.picture()), Ok(number));
            let typed = marks.picture().replace('●', "X").replace('○', "o");
            assert_eq!(read(&typed.replace(' ', "-")), Ok(number));
        }
    }

    #[test]
    fn a_mark_worn_away_or_added_is_always_seen() {
        for number in 0..400 {
            let picture: Vec<char> = Marks::of(number).picture().chars().collect();
            for place in 0..picture.len() {
                let mut seen = picture.clone();
                seen[place] = match seen[place] {
                    '●' => '○',
                    '○' => '●',
                    _ => continue,
                };
                let seen: String = seen.into_iter().collect();
                assert!(
                    matches!(read(&seen), Err(MarksFault::Worn { .. })),
                    "{seen}"
                );
            }
        }
    }

    #[test]
    fn one_group_misread_is_always_seen_and_neighbours_exchanged_but_for_digits_five_apart() {
        for number in 0..1000 {
            let digits = Marks::of(number).0;
            for place in 0..digits.len() {
                for other in (0..10).filter(|d| *d != digits[place]) {
                    let mut slip = digits.clone();
                    slip[place] = other;
                    assert_eq!(read(&Marks(slip).places()), Err(MarksFault::Check));
                }
            }
            for place in 0..digits.len() - 2 {
                let mut swap = digits.clone();
                swap.swap(place, place + 1);
                let apart = digits[place].abs_diff(digits[place + 1]);
                let is_seen = read(&Marks(swap).places()) == Err(MarksFault::Check);
                let weights_apart = if digits.len() - place == 4 { 2 } else { 4 };
                assert_eq!(
                    is_seen,
                    u32::from(apart) * weights_apart % 10 != 0,
                    "{number}"
                );
            }
        }
    }

    #[test]
    fn what_is_no_marks_is_said_to_be_none() {
        assert_eq!(read(""), Err(MarksFault::Count(0)));
        assert_eq!(read("12 45"), Err(MarksFault::Count(2)));
        assert_eq!(read("12 54 13"), Err(MarksFault::Unreadable(2)));
        assert_eq!(read("12 67 13"), Err(MarksFault::Unreadable(2)));
        assert_eq!(
            read("12 345 13"),
            Err(MarksFault::Worn { group: 2, marks: 3 })
        );
        assert!(read("12 4é 13").is_err() && read(&"12 ".repeat(9)).is_err());
    }
}
