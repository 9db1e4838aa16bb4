-- The class from roster to end of term.

-- The school's own identifier of a student, and an address where the school wants one.
alter table person add column school_id text;
alter table person add column email text;
create unique index person_by_school_id on person (school_id) where school_id is not null;
create index person_by_email on person (email) where email is not null;

-- When the class was closed for changes; none while it runs.
alter table class add column archived_at integer;
-- The class that it was rolled over from.
alter table class add column rolled_from integer references class (id);
-- How long after the archiving the names of its students are kept.
alter table class add column keep_days integer not null default 365 check (keep_days between 0 and 36500);
-- When the names of its students were taken out.
alter table class add column forgotten_at integer;

-- Which kind of plate is spread for it, so that pairs that come later get one too.
alter table assignment add column plate_kind text not null default 'physical' check (plate_kind in ('physical', 'virtual'));
update assignment set plate_kind = coalesce((select max(p.kind) from assignment_plate ap join plate p on p.id = ap.plate
    where ap.assignment = assignment.id), 'physical');

-- A printed slip with which one person takes a seat, once. Only the hash of its code is kept.
create table seat_slip (
    id integer primary key,
    person integer not null references person (id) on delete cascade,
    code_hash blob not null,
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    expires_at integer not null,
    used_at integer,
    constraint seat_slip_once unique (code_hash)
) strict;
create index seat_slip_by_person on seat_slip (person, used_at);

-- How the pairs of a class were made: by hand, at random or rotated, with the seed and the order of people.
create table pairing (
    id integer primary key,
    class integer not null references class (id),
    made_at integer not null,
    made_by integer references person (id) on delete set null,
    way text not null check (way in ('hand', 'random', 'rotated')),
    -- 128 random bits in hexadecimal; none for pairs made by hand.
    seed text,
    -- Rows of the people, group by group.
    groups text not null check (json_valid(groups))
) strict;
create index pairing_by_class on pairing (class, made_at);

-- Another due time for one pair.
create table extension (
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    due_at integer not null,
    reason text not null,
    given_at integer not null,
    given_by integer references person (id) on delete set null,
    primary key (assignment, pair)
) strict, without rowid;

-- A student who does not have to do an assignment.
create table excuse (
    assignment integer not null references assignment (id),
    person integer not null references person (id) on delete cascade,
    reason text not null,
    given_at integer not null,
    given_by integer references person (id) on delete set null,
    primary key (assignment, person)
) strict, without rowid;
create index excuse_by_person on excuse (person);

-- Measuring machines belong to the school; classes use them.
create table machine (
    id integer primary key,
    name text not null check (name <> ''),
    constraint machine_name_is_free unique (name)
) strict;
create table class_machine (
    class integer not null references class (id),
    machine integer not null references machine (id),
    primary key (class, machine)
) strict, without rowid;

-- One turn of a pair at a machine.
create table machine_turn (
    id integer primary key,
    machine integer not null references machine (id),
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    from_at integer not null,
    to_at integer not null check (to_at > from_at),
    constraint machine_has_one_turn_at_a_time unique (machine, from_at)
) strict;
create index machine_turn_by_time on machine_turn (from_at, to_at);
create index machine_turn_by_assignment on machine_turn (assignment, from_at);
create index machine_turn_by_pair on machine_turn (pair, from_at);

-- A pair asks another to swap turns.
create table turn_swap (
    id integer primary key,
    mine integer not null references machine_turn (id) on delete cascade,
    theirs integer not null references machine_turn (id) on delete cascade,
    asked_by integer references person (id) on delete set null,
    asked_at integer not null,
    answered_at integer,
    answer text check (answer in ('yes', 'no', 'withdrawn'))
) strict;
create index turn_swap_by_theirs on turn_swap (theirs, answered_at);
create index turn_swap_by_mine on turn_swap (mine, answered_at);
