-- The projected tables: what the journal adds up to. Dropped and rebuilt whenever their version changes
-- (store/replay.rs), so nothing here may hold what the journal does not. Notes and reasons stay in the
-- journal and are joined by the entry's id.

-- Children before parents.
drop table if exists arrival_photograph;
drop table if exists photograph_of;
drop table if exists photograph;
drop table if exists witness;
drop table if exists edition_file;
drop table if exists edition;
drop table if exists lab_link;
drop table if exists curve;
drop table if exists break_test;
drop table if exists transit;
drop table if exists settlement;
drop table if exists test_session;
drop table if exists equipment;
drop table if exists reopening;
drop table if exists parcel_event;
drop table if exists piece;
drop table if exists consignment;
drop table if exists incident;
drop table if exists event;
drop table if exists cited_figure;
drop table if exists series;
drop table if exists drying_override;
drop table if exists drying;
drop table if exists waiver;
drop table if exists draw;
drop table if exists voiding;
drop table if exists reading;
drop table if exists specimen;
drop table if exists instrument_check;
drop table if exists instrument;
drop table if exists seal;
drop table if exists plan;
drop table if exists study_steward;
drop table if exists study;

create table study (
    id                text primary key not null,
    slug              text not null unique,
    -- Begins the codes of its specimens.
    mark              text not null unique,
    title             text not null,
    time_zone         text not null,
    is_after_the_fact integer not null,
    is_public         integer not null default 0,
    started_at        text not null
) strict, without rowid;

create table study_steward (
    study   text not null references study (id),
    account text not null,
    primary key (study, account)
) strict, without rowid;

create table plan (
    study               text not null references study (id),
    version             integer not null,
    -- JSON, as in the entry.
    body                text not null,
    -- Of the plan's bytes as downloaded.
    sha256              text not null,
    at                  text not null,
    entry               text not null,
    -- Whether it changed a sealed plan.
    is_amendment        integer not null,
    -- Whether results were unblinded by then.
    is_knowing_results  integer not null,
    primary key (study, version)
) strict, without rowid;

create table seal (
    study               text primary key not null references study (id),
    plan_version        integer not null,
    sha256              text not null,
    at                  text not null,
    entry               text not null,
    entry_hash          text not null,
    is_knowing_baseline integer not null,
    is_after_outing     integer not null
) strict, without rowid;

create table instrument (
    id          text primary key not null,
    study       text not null references study (id),
    name        text not null,
    dimension   text not null,
    readability real not null,
    uncertainty real
) strict, without rowid;

create table instrument_check (
    entry      text primary key not null,
    study      text not null references study (id),
    instrument text not null references instrument (id),
    -- JSON, as in the entry.
    body       text not null,
    taken_at   text not null,
    -- Place in the chain.
    seq        integer not null
) strict, without rowid;

create index instrument_check_by_study on instrument_check (study, seq);

create table specimen (
    code             text primary key not null,
    study            text not null references study (id),
    -- Running number in the study.
    number           integer not null,
    lot              text not null,
    build            text not null,
    build_order      integer not null,
    -- 'baseline', 'exposed', 'spare', 'late_reference' or null before the allocation.
    role             text,
    condition        text,
    stage_days       integer,
    -- As allocated, and where it is now after moves.
    allocated_holder text,
    holder           text,
    whereabouts      text not null,
    is_nameless      integer not null default 0,
    made_at          text not null,
    out_at           text,
    in_at            text,
    recovery         text,
    identity         text,
    unique (study, number)
) strict, without rowid;

create table reading (
    entry              text primary key not null,
    study              text not null references study (id),
    specimen           text not null references specimen (code),
    quantity           text not null,
    occasion           text not null,
    repeat             integer not null,
    state              text not null,
    -- g or mm.
    value              real not null,
    typed              text not null,
    unit               text not null,
    instrument         text not null references instrument (id),
    is_confirmed_doubt integer not null,
    taken_at           text not null,
    -- 'current', 'superseded' or 'void'.
    standing           text not null default 'current',
    supersedes         text
) strict, without rowid;

-- Which entry declared another void; its note is the reason.
create table voiding (
    entry    text primary key not null,
    study    text not null references study (id),
    by_entry text not null
) strict, without rowid;

create index voiding_by_study on voiding (study);

create index reading_by_specimen on reading (specimen);
create index reading_by_study on reading (study);

-- A series of the environment. Its original file and the values read from it are blobs.
create table series (
    entry         text primary key not null,
    study         text not null references study (id),
    -- JSON, as in the entry.
    body          text not null,
    file_sha256   text not null,
    values_sha256 text not null,
    received_at   text not null,
    standing      text not null default 'current'
) strict, without rowid;

create index series_by_study on series (study);

-- A figure that others published.
create table cited_figure (
    entry       text primary key not null,
    study       text not null references study (id),
    -- JSON, as in the entry.
    body        text not null,
    received_at text not null,
    standing    text not null default 'current'
) strict, without rowid;

create index cited_figure_by_study on cited_figure (study);

-- A weighing while a piece dries.
create table drying (
    entry              text primary key not null,
    study              text not null references study (id),
    specimen           text not null references specimen (code),
    occasion           text not null,
    at                 text not null,
    -- g.
    mass               real not null,
    typed              text not null,
    unit               text not null,
    instrument         text not null references instrument (id),
    is_confirmed_doubt integer not null,
    standing           text not null default 'current'
) strict, without rowid;

create index drying_by_specimen on drying (specimen);
create index drying_by_study on drying (study);

-- Pieces whose dry mass may be taken although the plan's rule is not met; the entry's note says why.
create table drying_override (
    entry    text not null,
    specimen text not null references specimen (code),
    study    text not null references study (id),
    occasion text not null,
    at       text not null,
    standing text not null default 'current',
    primary key (entry, specimen)
) strict, without rowid;

create index drying_override_by_specimen on drying_override (specimen);

create table draw (
    entry        text primary key not null,
    study        text not null references study (id),
    -- 0 for a grouping reported after the fact.
    number       integer not null,
    plan_version integer not null,
    -- JSON, as in the entry.
    body         text not null,
    at           text not null
) strict, without rowid;

create index draw_by_study on draw (study);

create table waiver (
    entry    text not null,
    specimen text not null references specimen (code),
    study    text not null references study (id),
    at       text not null,
    standing text not null default 'current',
    primary key (entry, specimen)
) strict, without rowid;

create index waiver_by_specimen on waiver (specimen);

create table event (
    entry       text not null,
    specimen    text not null references specimen (code),
    study       text not null references study (id),
    -- 'put_out', 'handled', 'taken_in', 'rejected' or 'packed'.
    kind        text not null,
    -- The handling, or the state on recovery.
    detail      text,
    -- The holder of a move, or how a recovered piece was identified.
    extra       text,
    -- Where the event leaves the piece; null when it does not move it.
    leaves_it   text,
    at          text not null,
    received_at text not null,
    -- Place in the chain.
    seq         integer not null,
    standing    text not null default 'current',
    primary key (entry, specimen)
) strict, without rowid;

create index event_by_specimen on event (specimen, seq);
create index event_by_study on event (study, seq);

create table incident (
    entry       text primary key not null,
    study       text not null references study (id),
    body        text not null,
    received_at text not null,
    standing    text not null default 'current'
) strict, without rowid;

create table photograph (
    entry       text primary key not null,
    study       text not null references study (id),
    -- The key of a holder, for a picture of all of it.
    holder      text,
    view        text not null,
    -- Width of what the picture shows, in mm; the last that was said.
    frame_mm    real,
    -- Of the large picture, in pixels.
    width       integer not null,
    height      integer not null,
    -- SHA-256 in hexadecimal digits: the large picture, the small one, the bytes as sent.
    large       text not null,
    small       text not null,
    sent        text not null,
    taken_at    text not null,
    standing    text not null default 'current',
    is_released integer not null default 0,
    is_erased   integer not null default 0
) strict, without rowid;

create index photograph_by_study on photograph (study);
create index photograph_by_large on photograph (large);
create index photograph_by_small on photograph (small);

create table photograph_of (
    entry    text not null references photograph (entry),
    specimen text not null references specimen (code),
    primary key (entry, specimen)
) strict, without rowid;

create table consignment (
    id             text primary key not null,
    study          text not null references study (id),
    lab            text not null,
    -- Null for the baseline set.
    stage_days     integer,
    packed_at      text not null,
    parcel         text not null,
    -- What the tester set last, as JSON.
    session        text,
    -- Its number among the sessions.
    session_number integer,
    -- The consignment by which its lab is known; null when it is this one.
    same_lab_as    text,
    -- The lab's last set-up in another study, brought over, as JSON.
    brought        text,
    -- The number of the seal with which it left.
    seal_number    text,
    -- How it was opened, as JSON, and the entry that said so.
    receipt        text,
    receipt_by     text,
    finished_at    text,
    unblinded_at   text,
    unblinded_by   text,
    -- Unblinded before it was finished.
    is_early       integer not null default 0
) strict, without rowid;

create index consignment_by_study on consignment (study);

create table piece (
    consignment text not null references consignment (id),
    blind       text not null,
    specimen    text not null references specimen (code),
    position    integer not null,
    label       text not null,
    -- For a spare: the piece whose test was invalid, in whose place it is tested.
    retest_of   text references specimen (code),
    arrival     text,
    -- The entry that said so; its note is the tester's remark.
    arrived_by  text,
    looks       text,
    primary key (consignment, blind),
    unique (consignment, specimen)
) strict, without rowid;

create index piece_by_specimen on piece (specimen);

create table parcel_event (
    entry       text primary key not null,
    consignment text not null references consignment (id),
    state       text not null,
    at          text not null,
    seq         integer not null
) strict, without rowid;

create index parcel_event_by_consignment on parcel_event (consignment, seq);

-- A version of an item of a lab's own record.
create table equipment (
    entry        text primary key not null,
    -- The entry that named the item first.
    item         text not null,
    study        text not null references study (id),
    -- Through which it was written down.
    consignment  text not null references consignment (id),
    -- JSON, as in the entry.
    body         text not null,
    paper_sha256 text,
    seq          integer not null,
    -- 'current', 'earlier' or 'wrong'.
    standing     text not null default 'current',
    -- Where it stands in another study, when it was brought over from there, as JSON.
    origin       text
) strict, without rowid;

create index equipment_by_study on equipment (study, seq);
create index equipment_by_consignment on equipment (consignment);

-- A test session as it was set last: its opening, its closing.
create table test_session (
    consignment text not null references consignment (id),
    -- From 1.
    number      integer not null,
    -- JSON, as in the entry.
    body        text not null,
    entry       text not null,
    primary key (consignment, number)
) strict, without rowid;

-- How something that arrived otherwise than it was sent was settled; the entry's note has the words.
create table settlement (
    entry       text primary key not null,
    consignment text not null references consignment (id),
    -- 'count', 'seal' or 'piece:' with its blind code.
    about       text not null,
    at          text not null,
    seq         integer not null,
    -- What it settles was said anew since.
    is_earlier  integer not null default 0
) strict, without rowid;

create index settlement_by_consignment on settlement (consignment, seq);

-- Which photographs show what arrived.
create table arrival_photograph (
    entry       text primary key not null references photograph (entry),
    consignment text not null references consignment (id),
    -- JSON: the blind codes; empty for the parcel as a whole.
    blinds      text not null,
    seq         integer not null
) strict, without rowid;

create index arrival_photograph_by_consignment on arrival_photograph (consignment, seq);

-- A logger that travelled with a parcel. Its file and the values read from it are blobs.
create table transit (
    entry         text primary key not null,
    consignment   text not null references consignment (id),
    -- JSON, as in the entry.
    body          text not null,
    file_sha256   text not null,
    values_sha256 text not null,
    seq           integer not null
) strict, without rowid;

create index transit_by_consignment on transit (consignment, seq);

create table reopening (
    entry       text primary key not null,
    consignment text not null references consignment (id)
) strict, without rowid;

create index reopening_by_consignment on reopening (consignment);

create table break_test (
    entry              text primary key not null,
    consignment        text not null references consignment (id),
    blind              text not null,
    outcome            text not null,
    max_load_n         real,
    typed              text,
    unit               text,
    -- What a striker lost, J.
    energy_j           real,
    -- Where a bond came apart, as JSON.
    failure            text,
    mode               text not null,
    is_out_of_order    integer not null,
    is_confirmed_doubt integer not null,
    received_at        text not null,
    standing           text not null default 'current',
    supersedes         text,
    -- In which of its consignment's sessions, from 1.
    session            integer,
    is_knowing_group   integer not null,
    foreign key (consignment, blind) references piece (consignment, blind)
) strict, without rowid;

create index break_test_by_piece on break_test (consignment, blind);

-- A curve that was kept for a piece.
create table curve (
    entry       text primary key not null,
    consignment text not null references consignment (id),
    blind       text not null,
    -- Of the original file, in hexadecimal digits; the file is a blob.
    file_sha256 text not null,
    -- JSON, as in the entry.
    body        text not null,
    -- 'current' or 'superseded'.
    standing    text not null default 'current',
    foreign key (consignment, blind) references piece (consignment, blind)
) strict, without rowid;

create index curve_by_piece on curve (consignment, blind);

create table lab_link (
    id          text primary key not null,
    study       text not null references study (id),
    consignment text not null references consignment (id),
    -- Days that it stays open after the parcel's receipt.
    days        integer not null,
    -- When it ends if the parcel is not received before; then, and after extensions, when it ends.
    ends_at     text not null,
    is_revoked  integer not null default 0
) strict, without rowid;

create index lab_link_by_consignment on lab_link (consignment);

create table edition (
    study           text not null references study (id),
    number          integer not null,
    entry           text not null,
    at              text not null,
    is_interim      integer not null,
    findings_sha256 text not null,
    licence         text,
    withdrawn_by    text,
    primary key (study, number)
) strict, without rowid;

create table edition_file (
    study      text not null,
    number     integer not null,
    path       text not null,
    media_type text not null,
    sha256     text not null,
    primary key (study, number, path),
    foreign key (study, number) references edition (study, number)
) strict, without rowid;

create table witness (
    entry text primary key not null,
    study text not null references study (id),
    place text not null
) strict, without rowid;
