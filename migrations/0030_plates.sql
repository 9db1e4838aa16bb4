-- The plate drawer, rounds of careful measurement, lines that are dropped from an assignment, and regrading.

alter table plate add column label text not null default '';
-- Where it lies when nobody has it.
alter table plate add column place text not null default '';
-- Why it was withdrawn; empty while it is in service.
alter table plate add column withdrawn_why text not null default '';

-- Who had a plate, from when to when.
create table plate_loan (
    id integer primary key,
    plate integer not null references plate (id),
    holder text not null check (holder <> ''),
    out_at integer not null,
    in_at integer check (in_at is null or in_at >= out_at),
    remark text not null default ''
) strict;
create index plate_loan_by_plate on plate_loan (plate, out_at);
create unique index plate_is_out_once on plate_loan (plate) where in_at is null;

-- How a revision of a plate's truth came about: proposed, by hand, rounds, certificate, import.
create table plate_revision_note (
    plate_revision integer primary key references plate_revision (id),
    kind text not null check (kind in ('proposed', 'by_hand', 'rounds', 'certificate')),
    -- What it was made of: rounds and settings, or the certificate's number.
    detail text not null check (json_valid(detail))
) strict;

-- One round of careful measurement. What was read never changes; a round may be left out with a reason.
create table reference_round (
    id integer primary key,
    plate integer not null references plate (id),
    measured_on text not null check (measured_on <> ''),
    operator text not null,
    machine text not null,
    -- Degrees Celsius as typed; empty where it was not written down.
    temperature text not null default '',
    remark text not null default '',
    -- Readings by balloon number: {"1": ["32.031", "32.030"]}.
    readings text not null check (json_valid(readings)),
    entered_at integer not null,
    entered_by integer references person (id) on delete set null,
    left_out_at integer,
    left_out_why text not null default ''
) strict;
create index reference_round_by_plate on reference_round (plate, measured_on);
create trigger reference_round_stays before update of plate, measured_on, operator, machine, temperature, readings, entered_at
    on reference_round
begin
    select raise(abort, 'what was read in a round never changes');
end;

-- Numbers whose weight is left out for everybody in an assignment.
create table dropped_line (
    assignment integer not null references assignment (id),
    no text not null,
    why text not null check (why <> ''),
    dropped_at integer not null,
    dropped_by integer references person (id) on delete set null,
    primary key (assignment, no)
) strict, without rowid;

-- A regrading that was decided on. It is finished when all its reports have a grade from after it began, so that one that
-- a stop cut off goes on with the rest.
create table regrade (
    id integer primary key,
    -- What it follows from, in words of the action, and what it is about.
    cause text not null check (cause in ('reference', 'revision', 'dropped', 'again')),
    about text not null,
    about_id integer not null,
    detail text not null check (json_valid(detail)),
    begun_at integer not null,
    begun_by integer references person (id) on delete set null,
    finished_at integer
) strict;
create index regrade_by_subject on regrade (about, about_id, begun_at);
create index regrade_open on regrade (id) where finished_at is null;
create table regrade_report (
    regrade integer not null references regrade (id),
    report integer not null references report (id) on delete cascade,
    mark_before text,
    mark_after text,
    done_at integer,
    primary key (regrade, report)
) strict, without rowid;
create index regrade_report_by_report on regrade_report (report);
