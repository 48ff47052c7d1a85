//! Entries that rest on a file, from a tester's program: a photograph of what arrived, the logger that travelled
//! along, an item of the lab's record with its certificate. What a page would look at first is looked at here.

use super::blind::Blind;
use super::equipment_edit::{MOST_ITEMS, keep_paper, paper_faults};
use super::parcel_logger::{MOST_BYTES, shelf, transit};
use super::parcel_show::MOST_PHOTOGRAPHS;
use crate::clock::hex;
use crate::study::code::BlindCode;
use crate::study::entry::Entry;
use crate::study::environment::guess::guess;
use crate::study::environment::layout::{Layout, Read};
use crate::study::environment::table;
use crate::study::equipment::EquipmentKept;
use crate::study::ids::{ConsignmentId, EntryId};
use crate::study::photograph::Files;
use crate::study::receipt::ArrivalPhotograph;
use crate::study::typed::{LINE_LIMIT, clean};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::darkroom::{Undeveloped, develop};
use crate::web::fault::WebFault;
use crate::web::logger::apart;
use crate::web::upload::Upload;
use serde::Deserialize;
use serde_json::Value;

/// The kinds of entries that come with their file.
pub(in crate::web) const KINDS: [&str; 3] =
    ["arrival_photographed", "transit_logged", "equipment_kept"];

/// Those of them that have nothing to say without it.
pub(in crate::web) const FILE_ALONE: [&str; 2] = ["arrival_photographed", "transit_logged"];

/// Why no entry was made.
pub(in crate::web) enum NoEntry {
    /// The sentence is for its sender.
    Refused(String),
    /// A fault of the server.
    Fault(WebFault),
}

impl From<WebFault> for NoEntry {
    fn from(fault: WebFault) -> Self {
        Self::Fault(fault)
    }
}

fn refused<T>(sentence: impl Into<String>) -> Result<T, NoEntry> {
    Err(NoEntry::Refused(sentence.into()))
}

/// What an entry says, without what is made of its file.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Shot {
    consignment: ConsignmentId,
    #[serde(default)]
    blinds: Vec<BlindCode>,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Logged {
    consignment: ConsignmentId,
    name: String,
    #[serde(default)]
    layout: Option<Layout>,
}

fn read<T: serde::de::DeserializeOwned>(body: Value) -> Result<T, NoEntry> {
    serde_json::from_value(body)
        .map_err(|error| NoEntry::Refused(format!("This is not readable: {error}.")))
}

/// The entry of this kind with what is made of its file. One that is on record already is made again as it was, so
/// that the journal knows it; limits are for new ones.
pub(in crate::web) async fn entry(
    app: &App,
    lab: &LabAccess,
    (id, kind): (EntryId, &str),
    body: Value,
    upload: &Upload,
) -> Result<Entry, NoEntry> {
    let blind = Blind::load(app, lab).await?;
    let is_known = app.store.has_entry(id).await.map_err(WebFault::from)?;
    if !is_known && let Err(WebFault::Conflict(sentence)) = blind.must_be_open() {
        return refused(sentence);
    }
    match kind {
        "arrival_photographed" => shot(app, &blind, (id, is_known), body, upload).await,
        "transit_logged" => logged(app, &blind, body, upload).await,
        _ => item(app, &blind, (id, is_known), body, upload).await,
    }
}

/// A consignment that is not the token's reaches none of its files.
fn own(blind: &Blind, consignment: ConsignmentId) -> Result<(), NoEntry> {
    if consignment == blind.id {
        return Ok(());
    }
    refused("The entry names another consignment than the token's.")
}

async fn picture(app: &App, id: EntryId, upload: &Upload, part: &str) -> Result<Files, NoEntry> {
    match develop(app, id, upload.file(part)).await {
        Ok(files) => Ok(files),
        Err(Undeveloped::Refused(why)) => refused(why.to_string()),
        Err(Undeveloped::Fault(fault)) => Err(fault.into()),
    }
}

async fn shot(
    app: &App,
    blind: &Blind,
    (id, is_known): (EntryId, bool),
    body: Value,
    upload: &Upload,
) -> Result<Entry, NoEntry> {
    let mut shot: Shot = read(body)?;
    own(blind, shot.consignment)?;
    // A piece is named once, however often it was sent.
    shot.blinds.sort();
    shot.blinds.dedup();
    if let Some(code) = shot
        .blinds
        .iter()
        .find(|code| blind.piece(code.as_str()).is_err())
    {
        return refused(format!("No piece of this consignment is called {code}."));
    }
    if !is_known && blind.shots.len() >= MOST_PHOTOGRAPHS {
        return refused(format!(
            "A parcel takes {MOST_PHOTOGRAPHS} photographs at most."
        ));
    }
    let photograph = ArrivalPhotograph {
        consignment: blind.id,
        blinds: shot.blinds,
        files: picture(app, id, upload, "file").await?,
    };
    Ok(Entry::ArrivalPhotographed(Box::new(photograph)))
}

async fn logged(app: &App, blind: &Blind, body: Value, upload: &Upload) -> Result<Entry, NoEntry> {
    let sent: Logged = read(body)?;
    own(blind, sent.consignment)?;
    let name = clean("name", "The logger's name", &sent.name, LINE_LIMIT);
    let name = name.map_err(|fault| NoEntry::Refused(fault.sentence))?;
    if name.is_empty() {
        return refused("The logger's name is missing.");
    }
    let bytes = upload.file("file");
    if bytes.is_empty() || bytes.len() > MOST_BYTES {
        return refused("Send what the logger's program wrote in the part “file”, 16 MB at most.");
    }
    let reading = bytes.clone();
    let read = apart(move || understood(&reading, sent.layout)).await?;
    let (layout, read) = read.map_err(NoEntry::Refused)?;
    let now = app.clock.now();
    let kept = app
        .store
        .put_upload(shelf(blind), bytes.to_vec(), now)
        .await;
    let sha256 = hex(&kept.map_err(WebFault::from)?);
    let transit = transit(app, blind, &sha256, (name, layout, read)).await?;
    Ok(Entry::TransitLogged(Box::new(transit)))
}

/// The file read as it was said, or as it explains itself; where its days can be read in two ways, nobody guesses.
fn understood(bytes: &[u8], said: Option<Layout>) -> Result<(Layout, Read), String> {
    let layout = match said {
        Some(layout) => layout,
        None => {
            let guess = guess(bytes, "UTC").map_err(|fault| fault.to_string())?;
            if let Some(doubt) = guess.doubt {
                return Err(format!("{doubt} Send the entry with its layout."));
            }
            guess.layout
        }
    };
    let (text, _) = table::text(bytes);
    let read = layout.read(&text).map_err(|fault| fault.to_string())?;
    Ok((layout, read))
}

async fn item(
    app: &App,
    blind: &Blind,
    (id, is_known): (EntryId, bool),
    body: Value,
    upload: &Upload,
) -> Result<Entry, NoEntry> {
    let mut kept: EquipmentKept = read(body)?;
    own(blind, kept.consignment)?;
    if kept.equipment.paper.is_some() || kept.equipment.picture.is_some() {
        return refused("Certificate and picture come as the parts “file” and “picture”.");
    }
    let (bytes, picture_bytes) = (upload.file("file"), upload.file("picture"));
    if bytes.is_empty() && picture_bytes.is_empty() {
        return refused(
            "Send the certificate in the part “file”, or a picture in the part “picture”.",
        );
    }
    if let Some(fault) = paper_faults(&bytes).0.into_iter().next() {
        return refused(fault.sentence);
    }
    if !is_known && blind.equipment.len() >= MOST_ITEMS {
        return refused("This lab's record is full; it holds 500 items.");
    }
    // What is not sent anew stays, as on the page.
    let before = kept.replaces.and_then(|entry| blind.item(entry).ok());
    let before = before.map(|one| one.equipment.clone());
    let (paper, shown) = before.map_or((None, None), |one| (one.paper, one.picture));
    let sent = keep_paper(app, (upload, "file"), &bytes).await?;
    let taken = match picture_bytes.is_empty() {
        true => None,
        false => Some(picture(app, id, upload, "picture").await?),
    };
    kept.equipment = kept
        .equipment
        .with_files(paper, shown)
        .with_files(sent, taken);
    Ok(Entry::EquipmentKept(Box::new(kept)))
}
