-- What pages ask for by assignment was looked for in the plates of all classes.
create index assignment_plate_by_assignment on assignment_plate (assignment, pair, from_at, to_at, plate);
create index assignment_by_revision on assignment (exercise_revision);
