-- The whole of a grade is 14 KB of JSON that nothing is asked of within SQL. It is kept packed from now on (store/packed.rs); what
-- is here already stays as it is, and is read as it is.
create table grade_packed (
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
    result blob not null
) strict;
insert into grade_packed (id, report, superseded_at, mark, review, computed_at, software, exercise_revision, plate_revision,
    marks_override, result)
select id, report, superseded_at, mark, review, computed_at, software, exercise_revision, plate_revision, marks_override,
    cast(result as blob)
from grade;
drop table grade;
alter table grade_packed rename to grade;
create unique index one_grade_counts on grade (report) where superseded_at is null;
create index grade_for_gradebook on grade (report, superseded_at, mark, review) where superseded_at is null;
create index grade_by_report on grade (report, computed_at);
