// Package journal keeps a shop's evidence in one SQLite file: vehicles, jobs, intakes, drives with their samples,
// raw exchanges and marks, bench readings and verdicts. It is the only package that knows of a database.
//
// # What it promises
//
// A drive is on the disk at most a second after it happened, whatever becomes of the program; recording never waits
// for the disk. While nothing can be saved the drive is kept in memory, State says so, and it is saved when that
// becomes possible. Several programs may use one file at once. A damaged file is never written over: it is set aside
// and what can be read of it goes into a new one. The package has no clock: time comes with what is recorded.
//
// # Reading the file without this program
//
// It is an ordinary SQLite 3 file; schema.sql says what each column holds, and any SQLite shell can ask it:
//
//	SELECT * FROM drive_list;
//
//	SELECT j.id, v.name, j.complaint, datetime(j.opened_ns / 1000000000, 'unixepoch') AS opened_utc
//	FROM jobs j JOIN vehicles v ON v.id = j.vehicle_id ORDER BY j.opened_ns;
//
//	SELECT kind, cylinder, quantity, value, unit FROM bench WHERE job_id = 3;
//
//	SELECT at_ns, json_extract(data, '$.vin'), json_extract(data, '$.voltage') FROM intakes WHERE kind = 'intake';
//
// Samples and raw exchanges lie in blocks, some ten seconds a row, as gzip streams of records: an hour at fifty exchanges
// a second would otherwise be half a million rows. block.go documents the records, version1.go the packets of rows that
// version 1 of the schema wrote; Play and Exchanges decode both.
//
// # Files beside it
//
// journal.db-wal and journal.db-shm are SQLite's, and hold the newest of what was saved: copy them along, or end the
// program first. journal.db.live-… is there while a drive is being recorded. journal.db.damaged-1 is a file that was
// set aside. journal.db.suspect asks for a check of the whole file at the next start.
//
// # Other versions and other computers
//
// A file of an older version is brought up to date when it is opened, in one transaction: until that is committed it is
// as it was. Where it cannot be written it is read as it is. A job goes to another computer as a journal with that one
// job in it, by ExportJob and ImportJob; jobs that version 1 exported as lines of JSON are still taken in.
package journal
