-- The numbers of a report are kept packed from now on (store/packed.rs), like its grade: nothing is asked of them within SQL, and three
-- reports lie on a page where one did. What is here already stays as it is, text, and is read as it is. So only the column's type and
-- check change, which no row feels: the schema's text is changed (https://www.sqlite.org/lang_altertable.html#otheralter) instead of
-- a table of a gigabyte, on which others hang.
pragma writable_schema = on;
update sqlite_schema set sql = replace(sql, 'items text not null check (json_valid(items))', 'items any not null')
where type = 'table' and name = 'report';
pragma writable_schema = reset;
-- How many instructors there are is asked before the whole school is copied. (It also changes the number of the schema, by which every
-- connection sees that it is another one.)
create index person_instructor on person (role, created_at) where role = 'instructor';
