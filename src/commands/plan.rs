//! `overwinter plan`: how many pieces a question needs, by the rule that the plan will use.

use crate::analysis::sizing::{Asked, Search, size};
use crate::commands::analyse::{look, print};
use crate::error::Failure;
use crate::report::sizing::{enough, sentence, table, warning};
use crate::report::terminal::answer_table;
use crate::study::plan::Spreads;

/// Say how many pieces are needed: what designs of given sizes can see; needs no server
///
/// For each size and each growth of the spread: the smallest loss that is called ‘changed’ with a chance
/// of 80 %, and the chance of each verdict when nothing changed and when every condition lost so much. By
/// the very rule of the plan: simultaneous intervals for the ratio of each condition to the storage
/// control, against the margin. With several holders in each set the verdict rests on the means of
/// holders, half of the variance being taken to lie between them.
///
/// Ends with 0 when there is an answer, 2 when the command line is wrong, 3 when the question has no
/// answer.
#[derive(Debug, clap::Args)]
#[command(after_help = "Examples:\n  \
    overwinter plan --conditions 3 --cv 5\n  \
    overwinter plan --conditions 2 --pieces 6,12,24 --holders 3 --cv 8 --margin 15\n  \
    overwinter plan --pieces 8 --cv 4 --growth 1,1.5 --loss 10 --json")]
pub(super) struct Args {
    /// Conditions compared with the storage control
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    conditions: usize,
    /// Pieces in each set; several sizes parted by commas
    #[arg(
        long,
        value_name = "NUMBERS",
        value_delimiter = ',',
        default_value = "4,6,8,12,20"
    )]
    pieces: Vec<usize>,
    /// Holders (jars, racks, plots) in each set
    #[arg(long, value_name = "NUMBER", default_value_t = 1)]
    holders: usize,
    /// Scatter between like pieces in %: moulded 1 to 3, printed flat 2 to 6, printed upright 8 to 20
    #[arg(long, value_name = "PERCENT")]
    cv: f64,
    /// How many times larger the spread is after exposure; several parted by commas
    #[arg(
        long,
        value_name = "TIMES",
        value_delimiter = ',',
        default_value = "1,2,3"
    )]
    growth: Vec<f64>,
    /// The largest change that does not matter, in % of the storage control
    #[arg(long, value_name = "PERCENT", default_value_t = 10.0)]
    margin: f64,
    /// Confidence of the simultaneous intervals, in %
    #[arg(long, value_name = "PERCENT", default_value_t = 95.0)]
    confidence: f64,
    /// One spread for all sets (pooled Dunnett), instead of each set its own
    #[arg(long)]
    pooled: bool,
    /// The loss for which the chances are told, in %
    #[arg(long, value_name = "PERCENT", default_value_t = 20.0)]
    loss: f64,
    /// Print the answer as JSON
    #[arg(long)]
    json: bool,
}

/// Computes and prints.
pub(super) fn run(args: Args) -> Result<(), Failure> {
    let asked = Asked {
        conditions: args.conditions,
        pieces: args.pieces,
        holders: args.holders.max(1),
        cv_percent: args.cv,
        growths: args.growth,
        margin_percent: args.margin,
        confidence_percent: args.confidence,
        spreads: if args.pooled {
            Spreads::Pooled
        } else {
            Spreads::Separate
        },
        loss_percent: args.loss,
    };
    let found = size(&asked, Search::Enough);
    let sizing = found.map_err(|no| Failure::wrong_data(no.to_string()))?;
    if args.json {
        return print(&(serde_json::to_string_pretty(&sizing)? + "\n"));
    }
    let told = format!("{} {}", sentence(&sizing), enough(&sizing).join(" "));
    print(&answer_table(
        "How many pieces",
        &told,
        &table(&sizing),
        &warning(&sizing),
        look(),
    ))
}
