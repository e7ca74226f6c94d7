package devices

import (
	"fmt"
	"io"
	"log"
	"reflect"
	"time"
	"unsafe"

	"github.com/simonvetter/modbus"
)

// codec is all that is used of the Modbus library: the request for registers
// and the checks of its answer. Its other methods are out of reach of the rest
// of the package by type, and of the wire by the guard.
type codec interface {
	SetUnitId(uint8) error
	ReadRawBytes(addr, quantity uint16, t modbus.RegType) ([]byte, error)
}

// newCodec returns a library client whose frames travel through w.
//
// The library dials by itself and has no way to be given a connection. Its
// codec is sound, its links are not: a late serial reply is taken for the next
// one, a hung-up port spins, file descriptors from 1024 on break its select, a
// dial cannot be cancelled, and no guard fits between codec and socket. So a
// client is opened on a UDP socket, which sends nothing and waits for nobody,
// and the one field that holds the socket is set to w. Field and type are
// looked up by name: a library version that renames them fails here, at once
// and with a message, not on the wire.
func newCodec(w *wire) (*modbus.ModbusClient, error) {
	scheme, field := "udp", "socket"
	if !w.mbap {
		scheme, field = "rtuoverudp", "link"
	}
	client, err := modbus.NewClient(&modbus.ClientConfiguration{
		URL:     scheme + "://127.0.0.1:9",
		Speed:   w.speed,
		Timeout: time.Hour, // the wire keeps the time, request by request
		Logger:  log.New(io.Discard, "", 0),
	})
	if err != nil {
		return nil, err
	}
	if err := client.Open(); err != nil {
		return nil, err
	}
	if err := graft(client, field, w); err != nil {
		client.Close()
		return nil, err
	}
	return client, nil
}

func graft(client *modbus.ModbusClient, field string, w *wire) error {
	t := reflect.ValueOf(client).Elem().FieldByName("transport")
	if !t.IsValid() || t.Kind() != reflect.Interface || t.IsNil() {
		return fmt.Errorf("modbus library: no field transport; this program is made for v1.6.4")
	}
	f := t.Elem().Elem().FieldByName(field)
	if !f.IsValid() || f.Kind() != reflect.Interface || !reflect.TypeOf(w).Implements(f.Type()) {
		return fmt.Errorf("modbus library: no field %s that takes a connection; this program is made for v1.6.4", field)
	}
	socket := reflect.NewAt(f.Type(), unsafe.Pointer(f.UnsafeAddr())).Elem()
	if c, ok := socket.Interface().(io.Closer); ok {
		c.Close()
	}
	socket.Set(reflect.ValueOf(w))
	return nil
}
