-- What devices that queue entries say of themselves, and what their owners set aside. Outside the
-- journal: nothing of it is about a study's results.

-- A device that queues entries, as it last said: so that a person sees from elsewhere what still waits on
-- a phone that was lost or left behind.
create table device (
    account    text not null references account (id) on delete cascade,
    -- Drawn by the device itself; also stands in the header of its entries.
    id         text not null check (length(id) = 36),
    -- 'Firefox on Android'.
    name       text not null check (length(name) <= 100),
    -- How many entries waited to be sent, and how many needed somebody.
    waiting    integer not null check (waiting >= 0),
    refused    integer not null check (refused >= 0),
    -- When the oldest of them was taken, by the device's clock.
    oldest_at  text,
    -- When it said so, by this server's clock.
    said_at    text not null,
    -- How far its clock was ahead of this server's, in milliseconds.
    ahead_ms   integer not null,
    primary key (account, id)
) strict, without rowid;

-- An entry that the journal refused and that its owner gave up, whole and with the reason: it leaves the
-- device's queue only by being kept here.
create table set_aside (
    -- The entry's own id.
    id       text primary key not null check (length(id) = 36),
    account  text not null references account (id) on delete cascade,
    -- The entry as the device held it, as JSON.
    entry    text not null,
    -- Why the journal refused it, as the device was told.
    why      text not null,
    -- Why its owner gave it up.
    reason   text not null,
    at       text not null
) strict, without rowid;

create index set_aside_by_account on set_aside (account, at);
