-- Whether all who hold a plate are past their due time was worked out from every assignment that it was ever given out for;
-- now from those alone that are not past it, however many went before.
create index assignment_by_due on assignment (due_at);
create index extension_by_due on extension (due_at);
-- What asked for marks read the row of each grade, a page of its own, because the index did not say that the grade counts.
drop index grade_for_gradebook;
create index grade_for_gradebook on grade (report, superseded_at, mark, review) where superseded_at is null;
