package journal_test

import (
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"unsafe"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"modernc.org/libc"
	lib "modernc.org/sqlite/lib"

	"stumble/misfire/journal"
)

// disk stands between SQLite and the system, as SQLite's default VFS, and notes what a disk may still lose: what was
// written to a file and not synced since. (https://sqlite.org/vfs.html; the methods are those of sqlite3_io_methods.)
type disk struct {
	mu      sync.Mutex
	files   map[string]*diskFile
	names   map[uintptr]string // of open files
	methods map[uintptr]*lib.Tsqlite3_io_methods
	real    *lib.Tsqlite3_vfs
	vfs     lib.Tsqlite3_vfs
	changed func() // called after each write and sync, if set
	keep    []any  // what SQLite knows by its address alone
}

// diskFile is a file: what is on the disk for good, and what was done to it since.
type diskFile struct {
	synced  []byte
	pending []diskWrite
}

type diskWrite struct {
	at   int64
	data []byte
	cut  bool // cut off at that length
}

type (
	openFunc     = func(*libc.TLS, uintptr, uintptr, uintptr, int32, uintptr) int32
	deleteFunc   = func(*libc.TLS, uintptr, uintptr, int32) int32
	closeFunc    = func(*libc.TLS, uintptr) int32
	writeFunc    = func(*libc.TLS, uintptr, uintptr, int32, int64) int32
	truncateFunc = func(*libc.TLS, uintptr, int64) int32
	syncFunc     = func(*libc.TLS, uintptr, int32) int32
)

// pointed is what lies at an address of SQLite's.
func pointed[T any](address uintptr) *T { return *(**T)(unsafe.Pointer(&address)) }

// called is the function of an address of SQLite's.
func called[F any](address uintptr) F {
	holder := struct{ uintptr }{address}
	return *(*F)(unsafe.Pointer(&holder))
}

func addressOf[T any](d *disk, what *T) uintptr {
	d.keep = append(d.keep, what)
	return uintptr(unsafe.Pointer(what))
}

// functionAddress is the address that SQLite calls a function by.
func functionAddress[F any](d *disk, f F) uintptr {
	d.keep = append(d.keep, f)
	return *(*uintptr)(unsafe.Pointer(&f))
}

// losingDisk puts a disk under SQLite until the test ends.
func losingDisk(t *testing.T) *disk {
	if testing.Short() {
		t.Skip("the race detector checks pointers, and takes those into the memory of the database for faults")
	}
	t.Helper()
	tls := libc.NewTLS()
	d := &disk{files: map[string]*diskFile{}, names: map[uintptr]string{}, methods: map[uintptr]*lib.Tsqlite3_io_methods{}}
	real := lib.Xsqlite3_vfs_find(tls, 0)
	d.real = pointed[lib.Tsqlite3_vfs](real)
	d.vfs = *d.real
	name := []byte("losing\x00")
	d.vfs.FpNext, d.vfs.FzName = 0, addressOf(d, &name[0])
	d.vfs.FxOpen = functionAddress(d, openFunc(func(tls *libc.TLS, _, name, file uintptr, flags int32, out uintptr) int32 {
		return d.open(tls, real, name, file, flags, out)
	}))
	d.vfs.FxDelete = functionAddress(d, deleteFunc(func(tls *libc.TLS, _, name uintptr, sync int32) int32 {
		d.mu.Lock()
		delete(d.files, libc.GoString(name))
		d.mu.Unlock()
		return called[deleteFunc](d.real.FxDelete)(tls, real, name, sync)
	}))
	own := addressOf(d, &d.vfs)
	require.Zero(t, lib.Xsqlite3_vfs_register(tls, own, 1))
	t.Cleanup(func() {
		lib.Xsqlite3_vfs_register(tls, real, 1)
		lib.Xsqlite3_vfs_unregister(tls, own)
		tls.Close()
		d.keep = nil // until here they must not be collected
	})
	return d
}

func (d *disk) open(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32 {
	code := called[openFunc](d.real.FxOpen)(tls, vfs, name, file, flags, out)
	opened := pointed[lib.Tsqlite3_file](file)
	if code != lib.SQLITE_OK || name == 0 {
		return code
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	path := libc.GoString(name)
	d.names[file] = path
	if d.files[path] == nil {
		there, _ := os.ReadFile(path) // what was there before, if anything, is on the disk
		d.files[path] = &diskFile{synced: there}
	}
	if d.methods[opened.FpMethods] == nil {
		d.methods[opened.FpMethods] = d.watched(pointed[lib.Tsqlite3_io_methods](opened.FpMethods))
	}
	opened.FpMethods = addressOf(d, d.methods[opened.FpMethods])
	return code
}

// watched are the methods of a file with those that change it noted.
func (d *disk) watched(real *lib.Tsqlite3_io_methods) *lib.Tsqlite3_io_methods {
	own := *real
	own.FxWrite = functionAddress(d, writeFunc(func(tls *libc.TLS, file, data uintptr, n int32, at int64) int32 {
		code := called[writeFunc](real.FxWrite)(tls, file, data, n, at)
		d.note(file, diskWrite{at: at, data: append([]byte(nil), unsafe.Slice(pointed[byte](data), n)...)})
		return code
	}))
	own.FxTruncate = functionAddress(d, truncateFunc(func(tls *libc.TLS, file uintptr, size int64) int32 {
		code := called[truncateFunc](real.FxTruncate)(tls, file, size)
		d.note(file, diskWrite{at: size, cut: true})
		return code
	}))
	own.FxSync = functionAddress(d, syncFunc(func(tls *libc.TLS, file uintptr, flags int32) int32 {
		code := called[syncFunc](real.FxSync)(tls, file, flags)
		d.sync(file)
		return code
	}))
	own.FxClose = functionAddress(d, closeFunc(func(tls *libc.TLS, file uintptr) int32 {
		d.mu.Lock()
		delete(d.names, file)
		d.mu.Unlock()
		return called[closeFunc](real.FxClose)(tls, file)
	}))
	return &own
}

func (d *disk) note(file uintptr, w diskWrite) {
	d.mu.Lock()
	f := d.files[d.names[file]]
	f.pending = append(f.pending, w)
	d.mu.Unlock()
	d.tell()
}

func (d *disk) tell() {
	if d.changed != nil {
		d.changed()
	}
}

func (d *disk) sync(file uintptr) {
	d.mu.Lock()
	f := d.files[d.names[file]]
	for _, w := range f.pending {
		f.synced = w.on(f.synced)
	}
	f.pending = nil
	d.mu.Unlock()
	d.tell()
}

func (w diskWrite) on(data []byte) []byte {
	end := int(w.at) + len(w.data)
	if w.cut {
		return append([]byte(nil), data[:min(len(data), end)]...)
	}
	if end > len(data) {
		data = append(data, make([]byte, end-len(data))...)
	}
	copy(data[w.at:], w.data)
	return data
}

// pull writes what is on the disk after the plug was pulled to a new folder: what was synced, and of each later write
// whatever the dice say. It returns the journal there.
func (d *disk) pull(t *testing.T, path string, survives func() bool) string {
	t.Helper()
	d.mu.Lock()
	defer d.mu.Unlock()
	folder := t.TempDir()
	for name, f := range d.files {
		if !strings.HasPrefix(name, path) || strings.Contains(name, ".live-") {
			continue
		}
		left := append([]byte(nil), f.synced...)
		for _, w := range f.pending {
			if survives() {
				left = w.on(left)
			}
		}
		require.NoError(t, os.WriteFile(filepath.Join(folder, filepath.Base(name)), left, 0o600))
	}
	return filepath.Join(folder, filepath.Base(path))
}

// A pulled plug loses nothing that was said to be saved, whatever the disk still held back.
func TestPulledPlugLosesNothingThatWasSaved(t *testing.T) {
	for name, survives := range map[string]func(dice *rand.Rand) bool{
		"all unsynced writes lost": func(*rand.Rand) bool { return false },
		"each by chance":           func(dice *rand.Rand) bool { return dice.IntN(2) == 0 },
	} {
		t.Run(name, func(t *testing.T) {
			dice := rand.New(rand.NewPCG(5, 6))
			d := losingDisk(t)
			path := filepath.Join(t.TempDir(), "journal.db")
			j, _, err := journal.Open(path, journal.Options{})
			require.NoError(t, err)
			defer j.Close()
			r, err := j.StartDrive(wren(t))
			require.NoError(t, err)
			c := newCar(1)
			var told []int
			for n := range 200 { // some hundred seconds: the log is written back into the file a few times
				record(r, c, 25)
				require.NoError(t, r.Save())
				told = append(told, 25*n)
				if n%20 == 19 {
					assertPulled(t, d.pull(t, path, func() bool { return survives(dice) }), r.ID(), told[n])
				}
			}
			require.NoError(t, r.Finish(nil))
			assertPulled(t, d.pull(t, path, func() bool { return survives(dice) }), r.ID(), 5000)
		})
	}
}

// assertPulled holds a journal after a power cut to the samples that were saved; the last half second may not have
// been handed to the saver yet.
func assertPulled(t *testing.T, path string, drive int64, saved int) {
	t.Helper()
	j, notices, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	defer j.Close()
	for _, n := range notices {
		assert.NotEqual(t, journal.NoticeSetAside, n.Kind, "%+v", n)
	}
	samples, _ := played(t, j, drive)
	require.GreaterOrEqual(t, len(samples), saved)
	c := newCar(1)
	for i := range samples {
		_, want := c.next()
		require.Equal(t, want.Clone(), samples[i])
	}
	sound(t, path)
}

// Whenever the plug is pulled while a journal of version 1 is brought up to date, it holds what it held.
func TestPulledPlugInAMigration(t *testing.T) {
	path := unpackedJournal(t, "version-1")
	dice := rand.New(rand.NewPCG(7, 8))
	d := losingDisk(t)
	var pulled []string
	d.changed = func() { pulled = append(pulled, d.pull(t, path, func() bool { return dice.IntN(2) == 0 })) }
	j, notices, err := journal.Open(path, journal.Options{})
	require.NoError(t, err)
	assert.Empty(t, notices)
	require.NoError(t, j.Close())
	d.changed = nil
	assert.Greater(t, len(pulled), 10)
	versions := map[string]int{}
	for _, path := range pulled {
		versions[asked(t, path, "PRAGMA user_version")]++
		j, notices, err := journal.Open(path, journal.Options{})
		require.NoError(t, err)
		assert.Empty(t, notices)
		assertStored(t, j, journal.DriveFinished, journal.DriveFinished)
		require.NoError(t, j.Close())
		sound(t, path)
	}
	assert.Len(t, versions, 4, "some were pulled before it was done, some between its steps, some after")
}
