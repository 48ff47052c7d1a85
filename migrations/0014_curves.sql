-- Curves of testing machines on their way: files that a lab has sent and that wait to be looked at, and how
-- each lab's files are read. Outside the journal, because nothing of a study rests on them: what is kept of a
-- file goes into the journal by an entry, with the hash of the file.

-- A file as it came, until and after its curves are kept for pieces.
create table curve_file (
    id          text primary key not null check (length(id) = 36),
    consignment text not null check (length(consignment) = 36),
    sha256      blob not null references blob (sha256) check (length(sha256) = 32),
    -- What the sender called it; shown, never used as a path.
    name        text not null check (length(name) between 1 and 200),
    received_at text not null,
    -- What a person put right about reading it, as the fields of the form.
    said        text not null default '',
    -- The same file again is the same file.
    unique (consignment, sha256)
) strict;

-- How files of one layout are read, as somebody put it right through a lab link before.
create table curve_layout (
    link   text not null check (length(link) = 36),
    -- The names of its columns and its marks, without digits.
    layout text not null,
    said   text not null,
    primary key (link, layout)
) strict, without rowid;
