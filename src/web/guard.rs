//! What stands before every handler: the cross-site check, who may pass, the size and the time
//! allowed. Whoever passes is put into the request, where the extractors of `extract` find them;
//! an extractor on a route that does not admit its kind finds nothing and answers with our fault.

use super::access::{self, LabAccess, StudyAccess};
use super::body::BodyLimit;
use super::extract::{RouteName, Steward, Visitor};
use super::fault::{JsonFault, WebFault};
use super::page::{self, Flash};
use super::routes::{Answer, Route, Who};
use super::token::TokenAccess;
use super::{App, csrf, session, token};
use axum::extract::{RawPathParams, Request, State};
use axum::http::header::CACHE_CONTROL;
use axum::http::{HeaderValue, Method};
use axum::middleware::{Next, from_fn_with_state};
use axum::response::{IntoResponse, Response};
use axum::routing::MethodRouter;
use std::time::Duration;

/// One route's guard.
#[derive(Clone)]
struct Gate {
    app: App,
    name: &'static str,
    who: Who,
    answer: Answer,
    body_limit: usize,
    patience: Duration,
}

/// The route's handler behind its guard.
pub(super) fn behind(app: App, route: Route) -> MethodRouter<App> {
    let Route {
        name,
        who,
        answer,
        body_limit,
        patience,
        handler,
        ..
    } = route;
    let gate = Gate {
        app,
        name,
        who,
        answer,
        body_limit,
        patience,
    };
    handler.route_layer(from_fn_with_state(gate, pass))
}

async fn pass(
    State(gate): State<Gate>,
    params: Result<RawPathParams, axum::extract::rejection::RawPathParamsRejection>,
    mut request: Request,
    next: Next,
) -> Response {
    let has_flash = page::has_flash(request.headers());
    let admitted = match params {
        Ok(params) => gate.admit(&params, &mut request).await,
        Err(_) => Err(WebFault::NotFound),
    };
    let answer = match admitted {
        Ok(()) => tokio::time::timeout(gate.patience, next.run(request))
            .await
            .unwrap_or_else(|_| gate.refuse(WebFault::Busy)),
        Err(fault) => gate.refuse(fault),
    };
    gate.finish(answer, has_flash)
}

impl Gate {
    /// Lets the request pass with what its handler may know of the visitor, or says why not.
    async fn admit(&self, params: &RawPathParams, request: &mut Request) -> Result<(), WebFault> {
        csrf::check(request, &self.app.config, self.who)?;
        let param = |name: &str| {
            params
                .iter()
                .find(|(key, _)| *key == name)
                .map(|(_, value)| value)
        };
        request.extensions_mut().insert(BodyLimit(self.body_limit));
        request.extensions_mut().insert(RouteName(self.name));
        if self.who == Who::LabLink {
            let link = access::lab_access(&self.app, request.headers(), param("link")).await?;
            request.extensions_mut().insert::<LabAccess>(link);
            return Ok(());
        }
        if self.who.is_for_programs() {
            return self.admit_program(param("study"), request).await;
        }
        let steward = session::find(&self.app, request.headers()).await?;
        request.extensions_mut().insert(Visitor(steward.clone()));
        match self.who {
            Who::Anyone | Who::LabLink => {}
            Who::Token | Who::TesterToken | Who::ProgramReader => {}
            Who::FirstRun => self.only_before_the_first_account().await?,
            Who::Signed => {
                let steward = steward.ok_or_else(|| sign_in_first(request))?;
                request.extensions_mut().insert::<Steward>(steward);
            }
            Who::StudySteward => {
                let steward = steward.ok_or_else(|| sign_in_first(request))?;
                let study = access::study_access(&self.app, param("study"), &steward).await?;
                request.extensions_mut().insert(steward);
                request.extensions_mut().insert::<StudyAccess>(study);
            }
            Who::StudyReader => {
                let study =
                    access::study_reading(&self.app, param("study"), steward.as_ref()).await?;
                request.extensions_mut().insert::<StudyAccess>(study);
            }
        }
        Ok(())
    }

    /// Programs show a token, never a cookie.
    async fn admit_program(
        &self,
        study: Option<&str>,
        request: &mut Request,
    ) -> Result<(), WebFault> {
        let shown = token::Shown::by(request, &self.app);
        let found = token::find(&self.app, shown).await;
        if self.who == Who::ProgramReader {
            let study = token::study_reading(&self.app, study, found).await?;
            request.extensions_mut().insert::<StudyAccess>(study);
            return Ok(());
        }
        let token = found?;
        if self.who == Who::TesterToken {
            request.extensions_mut().insert::<LabAccess>(token.lab()?);
        }
        request.extensions_mut().insert::<TokenAccess>(token);
        Ok(())
    }

    async fn only_before_the_first_account(&self) -> Result<(), WebFault> {
        match self.app.store.has_any_account().await? {
            false => Ok(()),
            true => Err(WebFault::NotFound),
        }
    }

    fn refuse(&self, fault: WebFault) -> Response {
        match self.answer {
            Answer::Page => fault.into_response(),
            Answer::Json => JsonFault(fault).into_response(),
        }
    }

    /// Names the route for the log, and writes or clears the sentence that the next page shows.
    fn finish(&self, mut answer: Response, had_flash: bool) -> Response {
        answer.extensions_mut().insert(RouteName(self.name));
        if matches!(self.who, Who::Token | Who::TesterToken) {
            let never = HeaderValue::from_static("no-store");
            answer.headers_mut().insert(CACHE_CONTROL, never);
        }
        let secure = self.app.config.has_secure_cookies();
        let said = answer.extensions_mut().remove::<Flash>();
        let shown = had_flash && answer.status().is_success() && self.answer == Answer::Page;
        match said {
            Some(flash) => page::put_flash(&mut answer, &flash, secure),
            None if shown && self.name != "asset" => {
                page::clear_flash(&mut answer);
                // What was said once must not be said again from what a device keeps.
                let once = HeaderValue::from_static("private, no-store");
                answer.headers_mut().entry(CACHE_CONTROL).or_insert(once);
            }
            None => {}
        }
        answer
    }
}

/// Where to go after signing in: the page that was asked for, or the desk after a form.
fn sign_in_first(request: &Request) -> WebFault {
    let asked = request.uri().path_and_query().map(|path| path.as_str());
    let next = match *request.method() {
        Method::GET => asked.unwrap_or("/desk"),
        _ => "/desk",
    };
    WebFault::SignIn {
        next: next.to_owned(),
    }
}
