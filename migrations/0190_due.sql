-- Reports whose grade does not know yet what people added to them: points by hand, decisions on faults, readings. Written together
-- with what is added and taken away with the grade that knows it, so that what a stop cuts off in between is graded after it.
create table grade_due (
    report integer primary key references report (id) on delete cascade,
    -- How often something was added: a grade that was computed before the last time leaves the row.
    times integer not null
) strict;
