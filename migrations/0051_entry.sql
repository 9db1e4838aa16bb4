-- Versions of the fields of a draft, as JSON: who wrote which one, and what a partner wrote into the same one meanwhile.
alter table draft add column versions text not null default '{}' check (json_valid(versions));

-- What a pair says beside its numbers. A row of its own: behind the source bytes of the report it would be slow to read.
create table report_note (
    report integer primary key references report (id) on delete cascade,
    remarks text,
    -- The set-up record as JSON.
    set_up text check (set_up is null or json_valid(set_up))
) strict;

-- Photo or PDF beside a report. It belongs to an attempt, so that it can be added before and after the handing in.
create table evidence (
    id integer primary key,
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    attempt integer not null check (attempt >= 1),
    kind text not null check (kind in ('jpeg', 'png', 'pdf')),
    name text not null,
    sha256 blob not null,
    size integer not null,
    added_at integer not null,
    added_by integer references person (id) on delete set null,
    constraint evidence_once unique (assignment, pair, attempt, sha256)
) strict;
create table evidence_bytes (
    evidence integer primary key references evidence (id) on delete cascade,
    bytes blob not null
) strict;
