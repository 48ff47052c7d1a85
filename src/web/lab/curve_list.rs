//! The files of a testing machine: sent here, one or many at once, and what became of each.

use super::blind::{Blind, counted};
use super::curve_read;
use crate::store::{Blob, CurveFile};
use crate::study::cautions::{self, Step};
use crate::web::App;
use crate::web::access::LabAccess;
use crate::web::act;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

/// More files than this for one consignment are a mistake.
pub(super) const MOST_FILES: usize = 1000;

#[derive(Template)]
#[template(path = "lab/curve_list.html")]
struct ListPage {
    chrome: Chrome,
    blind: Blind,
    cautions: Vec<&'static str>,
    waiting: Vec<FileLine>,
    kept: Vec<FileLine>,
    form: Form,
}

/// A file on the list.
pub(super) struct FileLine {
    pub(super) id: String,
    pub(super) name: String,
    /// The pieces that it was kept for.
    pub(super) codes: String,
}

/// Shows them.
pub(in crate::web) async fn show(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
) -> Result<Response, WebFault> {
    let blind = Blind::load(&app, &lab).await?;
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    let page = page(&app, chrome, blind, form).await?;
    Ok(Page::of(page).into_response())
}

async fn page(app: &App, chrome: Chrome, blind: Blind, form: Form) -> Result<ListPage, WebFault> {
    let files = app.store.curve_files(blind.id).await?;
    let lines = files.iter().map(|file| FileLine::of(file, &blind));
    let (kept, waiting) = lines.partition(|line| !line.codes.is_empty());
    Ok(ListPage {
        chrome: chrome.titled("Curves"),
        cautions: cautions::of(Step::Break, []),
        waiting,
        kept,
        blind,
        form,
    })
}

impl FileLine {
    /// A file with the pieces that it was kept for.
    pub(super) fn of(file: &CurveFile, blind: &Blind) -> Self {
        let sha256 = crate::clock::hex(&file.sha256);
        let of_file = blind
            .curves
            .iter()
            .filter(|curve| curve.file_sha256 == sha256);
        let codes: Vec<String> = of_file.map(|curve| curve.blind.to_string()).collect();
        Self {
            id: file.id.to_string(),
            name: file.name.clone(),
            codes: codes.join(", "),
        }
    }
}

/// Takes files in. Those that can be read are on the list afterwards, whatever became of the others.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    lab: LabAccess,
    upload: Upload,
) -> Result<Response, WebFault> {
    let blind = Blind::load_open(&app, &lab).await?;
    let before = app.store.curve_files(blind.id).await?.len();
    let fields = Fields(upload.typed.clone());
    let sent = upload.files.iter().zip(&upload.names);
    let sent: Vec<_> = sent
        .filter(|((_, bytes), name)| !(bytes.is_empty() && name.is_empty()))
        .collect();
    if sent.is_empty() {
        let form = fields.again_with("files", "Choose at least one file.");
        let page = page(&app, chrome, blind, act::afresh(&app, &form)).await?;
        return Ok(Page::refused(page).into_response());
    }
    if before + sent.len() > MOST_FILES {
        let sentence = format!("A consignment takes {MOST_FILES} files at most; nothing was kept.");
        return Err(WebFault::Refused(sentence));
    }
    let mut faults = crate::study::fault::Faults::none();
    let (mut taken, mut known) = (0_usize, 0_usize);
    for ((_, bytes), name) in sent {
        let name = shown_name(name);
        match take(&app, &blind, &lab, &name, bytes.to_vec()).await? {
            Ok(true) => taken += 1,
            Ok(false) => known += 1,
            Err(why) => faults.push("files", format!("{name}: {why}")),
        }
    }
    if !faults.is_empty() {
        let form = act::afresh(&app, &fields.again(faults));
        let page = page(&app, chrome, blind, form).await?;
        return Ok(Page::refused(page).into_response());
    }
    let again = if known > 0 {
        format!(
            " {} here already.",
            counted(known, "file was", "files were")
        )
    } else {
        String::new()
    };
    let said = format!(
        "{} taken in. Look at each before it is kept.{again}",
        counted(taken, "file was", "files were")
    );
    Ok(Moved::to(format!("{}/curves", blind.address()))
        .saying(said)
        .into_response())
}

/// What a sender calls a file, with the folder that it lay in, as it can be shown.
pub(super) fn shown_name(sent: &str) -> String {
    let plain = |part: &str| {
        let signs = part.chars().filter(|sign| !sign.is_control());
        signs.take(120).collect::<String>().trim().to_owned()
    };
    let parts = sent.split(['/', '\\']).map(plain);
    let parts: Vec<String> = parts
        .filter(|part| !matches!(part.as_str(), "" | "." | ".."))
        .collect();
    match parts.as_slice() {
        [] => "unnamed".to_owned(),
        [name] => name.clone(),
        [.., folder, name] => {
            let folder: String = folder.chars().take(60).collect();
            format!("{folder}/{name}")
        }
    }
}

/// Keeps one file's bytes and puts it on the list; `false` when it is there already, and in words what
/// is wrong with it.
pub(super) async fn take(
    app: &App,
    blind: &Blind,
    lab: &LabAccess,
    name: &str,
    bytes: Vec<u8>,
) -> Result<Result<bool, String>, WebFault> {
    let read = tokio::task::spawn_blocking(move || (curve_read::layout(&bytes), bytes));
    let (layout, bytes) = read.await.map_err(WebFault::ours)?;
    let layout = match layout {
        Ok(layout) => layout,
        Err(why) => return Ok(Err(why)),
    };
    let said = app.store.remembered_layout(lab.link, &layout).await?;
    let file = CurveFile {
        id: app.clock.new_id(),
        consignment: blind.id,
        sha256: Sha256::digest(&bytes).into(),
        name: name.to_owned(),
        received_at: app.clock.now(),
        said: said.unwrap_or_default(),
    };
    let media_type = "application/octet-stream".to_owned();
    app.store.put_blob(&Blob { media_type, bytes }).await?;
    Ok(Ok(app.store.add_curve_file(&file).await?))
}
