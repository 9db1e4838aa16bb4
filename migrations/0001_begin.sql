-- One school is one file. Times are milliseconds since 1970-01-01T00:00:00Z. What is immutable is held so by a trigger.

create table person (
    id integer primary key,
    role text not null check (role in ('instructor', 'assistant', 'student')),
    name text not null check (name <> ''),
    -- Lower case; what the person types to sign in.
    sign_in text not null check (sign_in <> ''),
    -- argon2id in PHC form; none until the person has taken the seat.
    secret_hash text,
    created_at integer not null,
    constraint sign_in_is_free unique (sign_in)
) strict;

-- Failed tries by the name that was typed (SHA-256 of it), whether or not somebody has that name: the answer is the
-- same for both, so that nobody can find out who has an account here.
create table sign_in_try (
    name_hash blob primary key,
    failed integer not null,
    last_at integer not null,
    locked_until integer
) strict, without rowid;

create table session (
    token_hash blob primary key,
    person integer not null references person (id) on delete cascade,
    created_at integer not null,
    seen_at integer not null,
    expires_at integer not null
) strict, without rowid;
create index session_by_person on session (person);
create index session_by_expiry on session (expires_at);

create table exercise (
    id integer primary key,
    code text not null,
    created_at integer not null,
    constraint exercise_code_is_free unique (code)
) strict;

create table exercise_revision (
    id integer primary key,
    exercise integer not null references exercise (id),
    number integer not null check (number >= 1),
    title text not null,
    -- exercise.toml as it was imported or written.
    toml text not null,
    sha256 blob not null,
    created_at integer not null,
    created_by integer references person (id) on delete set null,
    constraint exercise_revision_once unique (exercise, number)
) strict;
create trigger exercise_revision_stays before update of exercise, number, title, toml, sha256, created_at on exercise_revision
begin
    select raise(abort, 'a revision of an exercise never changes');
end;

create table plate (
    id integer primary key,
    exercise integer not null references exercise (id),
    serial text not null,
    kind text not null check (kind in ('physical', 'virtual')),
    state text not null check (state in ('in_service', 'withdrawn')),
    -- Whether the instructor says that pairs may know what this plate is.
    is_open integer not null default 0 check (is_open in (0, 1)),
    created_at integer not null,
    constraint plate_serial_is_free unique (serial)
) strict;
create index plate_by_exercise on plate (exercise, serial);

-- What a plate really is. Only instructors' pages and grading read this table.
create table plate_revision (
    id integer primary key,
    plate integer not null references plate (id),
    number integer not null check (number >= 1),
    -- A plates file with this one plate in it.
    truth text not null,
    created_at integer not null,
    created_by integer references person (id) on delete set null,
    constraint plate_revision_once unique (plate, number)
) strict;
create trigger plate_revision_stays before update of plate, number, truth, created_at on plate_revision
begin
    select raise(abort, 'a revision of a plate never changes');
end;

create table class (
    id integer primary key,
    name text not null check (name <> ''),
    term text not null,
    -- IANA name, as in Europe/Oslo.
    time_zone text not null,
    created_at integer not null
) strict;

-- Everybody who has to do with a class: its instructors, assistants and students.
create table class_person (
    class integer not null references class (id),
    person integer not null references person (id) on delete cascade,
    joined_at integer not null,
    left_at integer,
    primary key (class, person)
) strict, without rowid;
create index class_person_by_person on class_person (person, class);

create table pair (
    id integer primary key,
    class integer not null references class (id),
    name text not null check (name <> ''),
    constraint pair_name_is_free unique (class, name)
) strict;

create table pair_person (
    id integer primary key,
    pair integer not null references pair (id),
    person integer not null references person (id) on delete cascade,
    from_at integer not null,
    to_at integer check (to_at is null or to_at > from_at)
) strict;
create index pair_person_by_pair on pair_person (pair, person);
create index pair_person_by_person on pair_person (person, pair);

create table assignment (
    id integer primary key,
    class integer not null references class (id),
    exercise_revision integer not null references exercise_revision (id),
    title text not null check (title <> ''),
    opens_at integer not null,
    due_at integer not null,
    attempts integer not null check (attempts between 1 and 99),
    counting text not null check (counting in ('best', 'last', 'mean')),
    late_grace_minutes integer not null check (late_grace_minutes >= 0),
    late_percent_per_day text not null,
    late_floor_percent text not null,
    -- A `[marks]` table in TOML that stands in place of the exercise's.
    marks_override text,
    feedback text not null check (feedback in ('words', 'full')),
    released_at integer,
    created_at integer not null,
    constraint assignment_opens_before_due check (due_at > opens_at)
) strict;
create index assignment_by_class on assignment (class, due_at);

create table assignment_plate (
    id integer primary key,
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    plate integer not null references plate (id),
    from_at integer not null,
    to_at integer check (to_at is null or to_at > from_at)
) strict;
create index assignment_plate_by_pair on assignment_plate (pair, assignment);
create unique index one_plate_at_a_time on assignment_plate (assignment, pair) where to_at is null;
create index assignment_plate_by_plate on assignment_plate (plate);

create table draft (
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    fields text not null check (json_valid(fields)),
    updated_at integer not null,
    primary key (assignment, pair)
) strict, without rowid;

create table report (
    id integer primary key,
    assignment integer not null references assignment (id),
    pair integer not null references pair (id),
    plate integer not null references plate (id),
    attempt integer not null check (attempt >= 1),
    person integer references person (id) on delete set null,
    handed_in_at integer not null,
    -- SHA-256 of the key that came with the form or request, bound to the pair.
    idempotency_key blob not null,
    -- SHA-256 of `items`: the same numbers handed in twice at once are one report.
    items_sha256 blob not null,
    items text not null check (json_valid(items)),
    source_kind text not null check (source_kind in ('form', 'paste', 'csv')),
    source_name text,
    source_sha256 blob not null,
    -- As it came. Last, so that reading the columns above never touches it.
    source_bytes blob not null,
    constraint report_once unique (idempotency_key),
    constraint report_attempt_once unique (assignment, pair, attempt)
) strict;
create index report_for_gradebook on report (assignment, pair, attempt, handed_in_at);
create index report_by_plate on report (plate, handed_in_at);

create table grade (
    id integer primary key,
    report integer not null references report (id) on delete cascade,
    -- None while it counts; the time at which a later grade took its place.
    superseded_at integer,
    -- 0.0 to 100.0 before the late rule; none where no line could be graded.
    mark text,
    -- Why a person should look at it first, as a word of the grading floor.
    review text,
    computed_at integer not null,
    software text not null,
    exercise_revision integer not null references exercise_revision (id),
    plate_revision integer not null references plate_revision (id),
    -- The override of the marks rules that it was computed with; none: the exercise's own.
    marks_override text,
    result text not null check (json_valid(result))
) strict;
create unique index one_grade_counts on grade (report) where superseded_at is null;
create index grade_for_gradebook on grade (report, mark, review) where superseded_at is null;
create index grade_by_report on grade (report, computed_at);

-- Points of lines that the instructor marks by hand.
create table hand_mark (
    report integer not null references report (id) on delete cascade,
    line text not null,
    points text not null,
    marked_at integer not null,
    marked_by integer references person (id) on delete set null,
    primary key (report, line)
) strict, without rowid;

create table audit (
    id integer primary key,
    at integer not null,
    person integer references person (id) on delete set null,
    what text not null,
    about text not null,
    about_id integer not null,
    detail text not null check (json_valid(detail))
) strict;
create index audit_by_subject on audit (about, about_id, at);

-- What the writer would otherwise need a statement of its own for.
create trigger report_ends_draft after insert on report
begin
    delete from draft where assignment = new.assignment and pair = new.pair;
end;
create trigger grade_takes_the_place before insert on grade
begin
    update grade set superseded_at = new.computed_at where report = new.report and superseded_at is null;
end;
