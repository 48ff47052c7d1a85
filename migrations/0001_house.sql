-- The house: what stands outside the journal, because it names people, holds secrets or is too big.
-- The journal holds only ids and hashes of these, so that a person can be forgotten without breaking a chain.

-- 'Ovrw' as a number: tells our database from any other SQLite file before it is restored over a good one.
pragma application_id = 1333162615;

-- A person who can sign in. Never deleted while the journal may name its id; closed instead.
create table account (
    id            text primary key not null check (length(id) = 36),
    -- What is typed to sign in: lower-case letters, digits, dot, hyphen, underscore.
    name          text not null unique check (length(name) between 2 and 40),
    -- What other people see; free text.
    display_name  text not null check (length(display_name) between 1 and 100),
    -- argon2id, as a PHC string that carries its own salt and parameters.
    password_hash text not null,
    made_at       text not null,
    -- When the account was closed; null while it can sign in. A closed one keeps its name taken.
    closed_at     text
) strict;

-- A signed-in browser. Only the hash of its cookie is kept, so that a stolen backup signs nobody in.
create table session (
    token_sha256 blob primary key not null check (length(token_sha256) = 32),
    account      text not null references account (id) on delete cascade,
    made_at      text not null,
    -- After this the cookie is worth nothing; moved on as the session is used.
    expires_at   text not null,
    last_seen_at text not null,
    -- 'Firefox on Android', so that a person knows which session to end. Never used to decide anything.
    device       text not null check (length(device) <= 100)
) strict, without rowid;

create index session_by_account on session (account);

-- The secret of a lab link. What the link opens, until when, and whether it was revoked is in the journal's tables.
create table lab_secret (
    link_id      text primary key not null check (length(link_id) = 36),
    -- Of the 256-bit token that is shown once, when the link is made.
    token_sha256 blob not null unique check (length(token_sha256) = 32)
) strict, without rowid;

-- Files (photographs, curves, certificates, an edition's pages), by their content.
create table blob (
    sha256     blob primary key not null check (length(sha256) = 32),
    media_type text not null,
    bytes      blob not null check (length(bytes) <= 33554432)
) strict;
