-- The journal: everything that happened, append-only, one hash chain for each study and one for the server.
-- All other tables about studies are a projection of it (src/store/projection.sql) and can be rebuilt.

create table journal (
    -- 'server' or a study's id.
    chain      text not null,
    -- Place in the chain, from 1, without gaps.
    seq        integer not null check (seq > 0),
    -- UUIDv7 given by the device that recorded it.
    id         text not null unique check (length(id) = 36),
    kind       text not null,
    version    integer not null,
    -- 'keeper', 'account:<id>' or 'link:<id>'; never a name.
    actor      text not null,
    device     text not null,
    device_seq integer not null,
    -- The device's clock.
    taken_at   text not null,
    -- This server's clock.
    received_at text not null,
    time_zone  text not null,
    -- A note or reason; outside the hashed body, so that it can be erased. The body holds its salted hash.
    note       text,
    note_salt  blob,
    -- The hash of the entry before it in the chain.
    prev_hash  blob not null check (length(prev_hash) = 32),
    -- Random; a download may give only sha256(salt ‖ body) for what is private or still blind.
    salt       blob not null check (length(salt) = 16),
    -- The bytes that are hashed, exactly as they were written.
    body       blob not null,
    hash       blob not null unique check (length(hash) = 32),
    primary key (chain, seq),
    check ((note is null) = (note_salt is null))
) strict;

-- Nothing is overwritten: only a note may be erased, and only together with its salt.
create trigger journal_is_append_only before update on journal
when not (new.note is null and new.note_salt is null and old.note is not null
    and new.chain is old.chain and new.seq is old.seq and new.id is old.id and new.kind is old.kind
    and new.version is old.version and new.actor is old.actor and new.device is old.device
    and new.device_seq is old.device_seq and new.taken_at is old.taken_at
    and new.received_at is old.received_at and new.time_zone is old.time_zone
    and new.prev_hash is old.prev_hash and new.salt is old.salt and new.body is old.body
    and new.hash is old.hash)
begin
    select raise(abort, 'the journal is append-only');
end;

create trigger journal_is_never_cut before delete on journal
begin
    select raise(abort, 'the journal is append-only');
end;

-- Which shape of the projected tables this database holds; 0 when they must be built.
create table projection (
    is_only integer primary key check (is_only = 1),
    version integer not null
) strict;

insert into projection (is_only, version) values (1, 0);
