-- What tells people what is due: secret calendar addresses, where reminders go, and what was sent. Outside the
-- journal, because it holds addresses and secrets of people and nothing that a study rests on.

-- The secret address of a person's calendar feed. One a person: a new one ends the old one.
create table calendar_feed (
    account      text primary key not null references account (id) on delete cascade,
    -- Of the 256-bit token that is shown once, when the address is made.
    token_sha256 blob not null unique check (length(token_sha256) = 32),
    made_at      text not null,
    -- When a calendar last fetched it; null before the first time.
    fetched_at   text
) strict, without rowid;

-- Where a person wants reminders, and how early.
create table reminder_wish (
    account     text primary key not null references account (id) on delete cascade,
    -- Null: no mail.
    mail        text check (length(mail) <= 254),
    -- Null: no webhook.
    webhook     text check (length(webhook) <= 2000),
    -- 32 random bytes that sign what goes to the webhook. Not hashed: signing needs them as they are.
    webhook_key blob check (length(webhook_key) = 32),
    -- So many days before something opens.
    days_ahead  integer not null check (days_ahead between 0 and 60),
    -- When this person's list was last gone through; null before the first time.
    written_at  text,
    check (webhook is null or webhook_key is not null)
) strict, without rowid;

-- A message that goes out, or went.
create table message (
    id          text primary key not null check (length(id) = 36),
    account     text not null references account (id) on delete cascade,
    channel     text not null check (channel in ('mail', 'webhook')),
    made_at     text not null,
    subject     text not null,
    -- JSON: the list of what is due, from which either channel writes its own words.
    body        text not null,
    -- 'waiting' until the other side has taken it; 'given_up' when it never will.
    state       text not null check (state in ('waiting', 'sent', 'given_up')),
    attempts    integer not null default 0,
    -- Not before this.
    next_try_at text not null,
    -- What became of the last attempt, in words; null before the first.
    last_said   text,
    -- When the other side took it.
    sent_at     text,
    check ((state = 'sent') = (sent_at is not null))
) strict;

create index message_waiting on message (next_try_at) where state = 'waiting';
create index message_by_account on message (account, made_at);

-- What a person was reminded of, by which message: nothing is said twice on one channel.
create table reminder (
    account text not null references account (id) on delete cascade,
    channel text not null,
    -- Study, thing, its days, and how near it was.
    thing   text not null,
    message text not null references message (id) on delete cascade,
    primary key (account, channel, thing)
) strict, without rowid;
