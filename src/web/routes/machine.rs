//! The interface for programs, and the pages where its tokens are made.

use super::{Route, Who, get, post};
use crate::web::lab::{program_curves, program_equipment};
use crate::web::machine::{
    description, edition_list, entry_file, entry_send, guide_show, piece_list, token_show,
};
use crate::web::steward::token_list;

/// Rows of the interface for programs.
pub(super) fn rows() -> Vec<Route> {
    use Who::{Anyone, ProgramReader, StudySteward, TesterToken, Token};
    const TOKENS: &str = "/desk/{study}/tokens";
    const EDITIONS: &str = "/api/v1/studies/{study}/editions";
    const EDITION: &str = "/api/v1/studies/{study}/editions/{number}";
    const FILE: &str = "/api/v1/studies/{study}/editions/{number}/files/{file}";
    const CURVES: &str = "/api/v1/curves";
    const CURVE: &str = "/api/v1/curves/{curve}";
    let revoke = "/desk/{study}/tokens/revoke";
    vec![
        // the steward's tokens
        get("tokens", TOKENS, StudySteward, token_list::show),
        post("token-make", TOKENS, StudySteward, token_list::save),
        post("token-revoke", revoke, StudySteward, token_list::revoke),
        // what it is and how it is used
        get("api-guide", "/api", Anyone, guide_show::show),
        get(
            "api-description",
            "/api/openapi.json",
            Anyone,
            description::show,
        )
        .json(),
        // with a token
        get("api-token", "/api/v1/token", Token, token_show::show).json(),
        get("api-pieces", "/api/v1/pieces", Token, piece_list::show).json(),
        post("api-entries", "/api/v1/entries", Token, entry_send::save).json(),
        post(
            "api-entry-file",
            entry_send::WITH_FILE,
            TesterToken,
            entry_file::save,
        )
        .json()
        .upload(),
        get("api-curves", CURVES, TesterToken, program_curves::list).json(),
        post("api-curve-send", CURVES, TesterToken, program_curves::save)
            .json()
            .upload(),
        get("api-curve", CURVE, TesterToken, program_curves::original).json(),
        get(
            "api-equipment",
            "/api/v1/equipment",
            TesterToken,
            program_equipment::list,
        )
        .json(),
        // what is published
        get("api-editions", EDITIONS, ProgramReader, edition_list::list).json(),
        get(
            "api-edition",
            EDITION,
            ProgramReader,
            edition_list::findings,
        )
        .json(),
        get("api-edition-file", FILE, ProgramReader, edition_list::file).json(),
    ]
}
