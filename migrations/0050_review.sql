-- What people add to a computed grade. Nothing here changes a report or a grade: each is a row of its own that can be
-- taken back, and the audit trail keeps both.

-- A mark that a person set in place of the computed one.
create table mark_override (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    mark text not null,
    reason text not null check (reason <> ''),
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    undone_at integer,
    undone_by integer references person (id) on delete set null
) strict;
create unique index one_override_counts on mark_override (report) where undone_at is null;
create index mark_override_by_report on mark_override (report, made_at);

-- Words to the pair.
create table remark (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    text text not null check (text <> ''),
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    withdrawn_at integer
) strict;
create index remark_by_report on remark (report, made_at);

-- What a pair asks about its mark, and the answer.
create table query (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    -- Balloon number that it is about; none: the whole.
    no text,
    text text not null check (text <> ''),
    asked_at integer not null,
    asked_by integer references person (id) on delete set null,
    answer text,
    answered_at integer,
    answered_by integer references person (id) on delete set null,
    constraint query_answer_whole check ((answer is null) = (answered_at is null))
) strict;
create index query_by_report on query (report, asked_at);

-- Points that one student of a pair has more or fewer than the pair.
create table adjustment (
    id integer primary key,
    assignment integer not null references assignment (id),
    person integer not null references person (id) on delete cascade,
    points text not null,
    reason text not null check (reason <> ''),
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    undone_at integer,
    undone_by integer references person (id) on delete set null
) strict;
create index adjustment_by_assignment on adjustment (assignment, person);
create index adjustment_by_person on adjustment (person, assignment);

-- Reasons for a person to look at a report, beside the one of the grade.
create table attention (
    report integer not null references report (id) on delete cascade,
    reason text not null,
    -- What the reason speaks of, as JSON.
    detail text not null check (json_valid(detail)),
    -- When it was first found: a reason that came after a person looked brings the report back.
    found_at integer not null,
    primary key (report, reason, detail)
) strict, without rowid;

-- Reports that were searched for such reasons.
create table attention_search (
    report integer primary key references report (id) on delete cascade,
    searched_at integer not null
) strict;

-- A person looked at the report and is done with it.
create table reviewed (
    report integer primary key references report (id) on delete cascade,
    at integer not null,
    person integer references person (id) on delete set null
) strict;

-- How an assignment stands in the gradebook. An assignment without a row has weight 1 and wants no evidence.
create table gradebook_column (
    assignment integer primary key references assignment (id),
    weight text not null,
    wants_evidence integer not null default 0 check (wants_evidence in (0, 1))
) strict;

-- How many of the lowest marks of each student are dropped. A class without a row drops none.
create table gradebook_rule (
    class integer primary key references class (id),
    drops integer not null check (drops between 0 and 99)
) strict;
