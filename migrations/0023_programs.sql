-- Tokens of the interface for programs: a program acts by one for the steward or the tester who made it. Outside the
-- journal, because it is a secret; what is done with it stands in the journal as done by whoever made it.
create table api_token (
    id           text primary key not null,
    -- Of the 256-bit token that is shown once, when it is made.
    token_sha256 blob not null unique check (length(token_sha256) = 32),
    -- What its maker calls it.
    name         text not null check (length(name) between 1 and 100),
    -- The study that it is for. No foreign key: that table is made anew from the journal.
    study        text not null,
    -- The steward who made it; null for a tester's.
    account      text references account (id) on delete cascade,
    -- The lab link by which it was made; null for a steward's.
    link         text,
    -- Whether it may send as well as read.
    can_send     integer not null check (can_send in (0, 1)),
    made_at      text not null,
    ends_at      text not null,
    -- When it was last used, a minute late at most; null before the first time.
    used_at      text,
    revoked_at   text,
    check ((account is null) <> (link is null))
) strict, without rowid;

create index api_token_by_study on api_token (study);

-- Files of studies that are being brought over: nothing rests on them until their steward has looked at them.
create table study_file (
    id          text primary key not null,
    -- Who sent it; nobody else sees it.
    account     text not null references account (id) on delete cascade,
    -- Of its bytes, which are a blob.
    sha256      blob not null check (length(sha256) = 32),
    -- What the sender called it.
    name        text not null,
    received_at text not null
) strict, without rowid;
