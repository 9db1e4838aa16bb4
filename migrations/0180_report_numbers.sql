-- A report's number is never given again, so that what was said of one that is gone (in the list of what was done, say) is never
-- shown beside another. Deleting writes the highest number there was down here; of what was deleted before, the list knows it.
create table report_last (
    only_row integer primary key check (only_row = 1),
    id integer not null
) strict;
insert into report_last select 1, coalesce(max(about_id), 0) from audit where about = 'report';
