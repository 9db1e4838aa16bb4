-- Exercises that are being authored. Every change is a step; none is ever overwritten, so that going back and forward, and
-- what somebody else overtook, can always be found again.
create table exercise_draft (
    id integer primary key,
    -- None: an exercise that was never published.
    exercise integer references exercise (id),
    -- The revision that the next one is made from.
    base_revision integer references exercise_revision (id),
    -- Counts every change of what stands; a form that was made from another count is told so.
    version integer not null check (version >= 1),
    -- The step that stands.
    step integer not null check (step >= 1),
    code text not null,
    title text not null,
    created_at integer not null,
    created_by integer references person (id) on delete set null,
    constraint exercise_draft_once unique (exercise)
) strict;

create table exercise_draft_step (
    draft integer not null references exercise_draft (id) on delete cascade,
    number integer not null check (number >= 1),
    -- The step that it was made from.
    before integer,
    -- exercise.toml, with errors or without.
    toml text not null,
    -- What was done, in words.
    what text not null,
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    primary key (draft, number)
) strict, without rowid;
