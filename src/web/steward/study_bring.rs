//! Bringing a study over, the first step: its file is sent and kept as it is. What becomes of it is decided on
//! the page that follows ([`super::study_bring_look`]).

use crate::store::{Blob, StudyFile};
use crate::study::ids::AccountId;
use crate::web::App;
use crate::web::act;
use crate::web::extract::Steward;
use crate::web::fault::WebFault;
use crate::web::form::{Fields, Form};
use crate::web::page::{Chrome, Moved, Page};
use crate::web::upload::Upload;
use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use sha2::{Digest, Sha256};

/// The largest file taken, in bytes.
const LARGEST: usize = 16 << 20;

#[derive(Template)]
#[template(path = "steward/study_bring.html")]
struct BringPage {
    chrome: Chrome,
    form: Form,
}

fn page(chrome: Chrome, form: Form) -> BringPage {
    BringPage {
        chrome: chrome.titled("Bring a study over"),
        form,
    }
}

/// The form.
pub(in crate::web) async fn show(State(app): State<App>, chrome: Chrome) -> impl IntoResponse {
    let form = Form::filled([(act::ENTRY, act::fresh(&app).as_str())]);
    Page::of(page(chrome, form))
}

/// Keeps the file and goes on to what was understood of it.
pub(in crate::web) async fn save(
    State(app): State<App>,
    chrome: Chrome,
    steward: Steward,
    upload: Upload,
) -> Result<Response, WebFault> {
    let bytes = upload.file("file");
    let fields = Fields(upload.typed.clone());
    let wrong = match bytes.len() {
        0 => Some("Choose the file.".to_owned()),
        n if n > LARGEST => Some(format!("The file is larger than {} MB.", LARGEST >> 20)),
        _ => super::study_bring_read::text_of(&bytes).err(),
    };
    if let Some(sentence) = wrong {
        let form = act::afresh(&app, &fields.again_with("file", sentence));
        return Ok(Page::refused(page(chrome, form)).into_response());
    }
    let name = upload.names.first().map_or("unnamed", String::as_str);
    let name = name.rsplit(['/', '\\']).next().unwrap_or_default();
    let file = StudyFile {
        id: act::entry_id(&app, &upload.typed).0,
        account: AccountId(steward.id),
        sha256: Sha256::digest(&bytes).into(),
        name: name
            .chars()
            .filter(|sign| !sign.is_control())
            .take(200)
            .collect(),
    };
    let media_type = "application/octet-stream".to_owned();
    let bytes = bytes.to_vec();
    app.store.put_blob(&Blob { media_type, bytes }).await?;
    app.store.add_study_file(&file, app.clock.now()).await?;
    Ok(Moved::to(format!("/desk/bring/{}", file.id)).into_response())
}
