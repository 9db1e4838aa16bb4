-- Grades are packed as MessagePack in LZ4 from now on (store/packed.rs) and not as JSON any more. No table changes for that. The
-- number is what a program needs that cannot read them: it says that the school or the backup is too new for it.
select 1 where false;
