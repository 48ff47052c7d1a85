-- What the exposure record keeps outside the journal: files that wait to be looked at, and what a weather
-- archive answered.

-- A logger's file that a steward sent and that is not a series yet. Only its own study may look at it.
create table upload (
    study  text not null,
    sha256 blob not null check (length(sha256) = 32),
    -- When it came.
    at     text not null,
    primary key (study, sha256)
) strict, without rowid;

-- An archive's answers, so that none is asked for twice.
create table weather_answer (
    -- The address asked, without its host.
    asked  text primary key not null,
    sha256 blob not null check (length(sha256) = 32),
    at     text not null
) strict, without rowid;
