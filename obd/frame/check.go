package frame

// crc8 is the check byte of SAE J1850: polynomial 1D, start value FF, result inverted.
func crc8(data []byte) byte {
	crc := byte(0xFF)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&0x80 != 0 {
				crc = crc<<1 ^ 0x1D
			} else {
				crc <<= 1
			}
		}
	}
	return ^crc
}

// sum8 is the check byte of ISO 9141-2 and ISO 14230-2: the sum of all bytes before it, modulo 256.
func sum8(data []byte) byte {
	var sum byte
	for _, b := range data {
		sum += b
	}
	return sum
}
