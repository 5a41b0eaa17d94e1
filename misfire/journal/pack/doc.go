// Package pack writes samples and raw exchanges small and gives the very same ones back. It is pure: bytes in,
// bytes out. The layout is written out here in full, so that a journal can be read without this program.
//
// # Blocks and packets
//
// A block holds some seconds of one drive and can be read by itself. It is a row of packets, each
//
//	length  uvarint, bytes of payload
//	check   4 bytes, little-endian, CRC-32C (Castagnoli) of the payload
//	payload records, one after the other; a record never crosses packets
//
// What a record defines or leaves behind as "the last" holds to the end of the block, across packets. A uvarint
// is base 128, lowest group first, the top bit set on all but the last byte; a varint is a uvarint of the number
// zigzag-coded: 0, -1, 1, -2 as 0, 1, 2, 3. Both are those of encoding/binary.
//
// Times are nanoseconds since 1970-01-01 UTC in 64 bits, and wrap around when subtracted or added; the lowest
// number, -2^63, is "no time". Every sample and exchange begins with
//
//	sent   varint, minus the time received of the one before it in the block (0 for the first)
//	took   varint, time received minus time sent
//
// # Samples
//
// A record begins with a uvarint, its tag.
//
//	tag 0   a shape: the readings that come together in one sample
//	        count   uvarint
//	        then for each reading: module id uvarint, module bits 1 byte, service 1 byte, id 1 byte, part 1 byte,
//	        length of unit uvarint, unit
//	        Shapes are numbered from 1 in the order they come; the last values of a new shape are all +0.
//	tag n   a sample of shape n: sent, took, then
//	        changed a bit for each reading of the shape, lowest bit first, in whole bytes: its value differs
//	                from that of the shape's last sample
//	        then for each that changed: 1 byte, upper half z and lower half n (1 to 8), and n bytes, lowest first:
//	        the 64 bits of the value as IEEE 754 double, exclusive-or those of its last value, are that number
//	        shifted left by 8 z bits
//
// # Exchanges
//
// A record begins with a uvarint, its tag.
//
//	tag 0   a request: length uvarint, bytes as sent, without the carriage return; numbered from 1
//	tag 1   an error's text: length uvarint, text; numbered from 1
//	tag n   an exchange of request n-1: sent, took, then
//	        error   uvarint, number of the error's text, 0 for none
//	        edits   uvarint, how many; each: keep uvarint, drop uvarint, length uvarint, bytes
//	        The answer is the last answer to the same request (empty at first) with the edits done from its
//	        beginning: keep as many bytes, leave out as many, put those bytes in. After the last edit the rest
//	        is kept.
package pack
